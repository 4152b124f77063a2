"""Where a session goes on whose file was moved, removed or replaced while it was recorded.

The recorder holds the file, whatever became of its name: all that was saved can still be read, and is written anew.
"""

import re
from itertools import count
from pathlib import Path

from logger.errors import FileError, Vanished
from logger.session.lock import WriterLock
from logger.session.store import Session

RESCUED = re.compile(r"-rescued(-\d+)?$")


def rescued(gone: Session) -> Session:
    """The session held for writing again: at its place if it is back there, else in a copy of all that was saved.

    The copy is `NAME-rescued.walk` in the folder of the session or, where that refuses, in this user's state folder;
    Vanished says why there is none, and then nothing was changed. `gone` is closed once there is one.
    """
    why = ""
    for take in (_back, lambda gone: _copied(gone, gone.path.parent), lambda gone: _copied(gone, _state_folder())):
        try:
            session = take(gone)
        except (FileError, OSError) as error:
            why = str(error)
            continue
        if session.digest == gone.digest:
            gone.leave(session)
            return session
        session.close()
    raise Vanished(gone.path, f"the file was moved, removed or replaced while recording; put it back ({why})")


def _back(gone: Session) -> Session:
    """The file at its place, on a disk that was away; not one that SQLite would read with the log of another."""
    if gone.has_logs_here or not gone.path.exists():
        raise FileError(gone.path, "it is another file, or none")
    return Session.resume(gone.path, gone.lock.acquire() if gone.lock else None)


def _copied(gone: Session, folder: Path) -> Session:
    name = RESCUED.sub("", gone.path.stem)
    names = (f"{name}-rescued{'' if i == 1 else f'-{i}'}{gone.path.suffix}" for i in count(1))
    path = next(folder / name for name in names if not (folder / name).exists())
    lock = WriterLock(path).acquire()
    try:
        gone.copy_to(path)
    except BaseException:
        lock.release()
        raise
    session = Session.resume(path, lock)
    gone.make_way()
    return session


def _state_folder() -> Path:
    from platformdirs import user_state_path

    return user_state_path("risewalk", appauthor=False, ensure_exists=True)
