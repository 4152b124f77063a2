"""The sessions in a folder, as they are shown to choose from; read beside the screen."""

import contextlib
import socket
from dataclasses import dataclass
from pathlib import Path

from logger.errors import RiseError
from tui.walking.said import safe

MOST = 200


@dataclass(frozen=True, slots=True)
class Kept:
    """One session file; `trouble` says why it cannot be read. `recording`: its recorder runs now."""

    path: Path
    job: str = ""
    observations: int = 0
    changed_s: float = 0.0
    recording: bool = False
    trouble: str = ""


def sessions_in(folder: Path) -> list[Kept]:
    """Every session of a folder, the one changed last first."""
    try:
        paths = sorted((path for path in folder.glob("*.walk") if path.is_file()), key=_changed_s, reverse=True)
    except OSError:
        return []
    return [kept(path) for path in paths[:MOST]]


def kept(path: Path) -> Kept:
    """What one session file says of itself."""
    from logger.session.replay import field_book
    from logger.session.store import Session

    recording = _listens(path)
    try:
        changed_s = _changed_s(path)
        with Session.open(path) as session:
            book = field_book(session)
    except (RiseError, OSError) as error:
        return Kept(path, recording=recording, trouble=safe(error))
    return Kept(path, safe(book.job, 60), len(book.entries), changed_s, recording)


def _changed_s(path: Path) -> float:
    """When a session was last written, in seconds of the Unix epoch; while it is open that is the file beside it."""
    times_s = [0.0]
    for each in (path, path.with_name(f"{path.name}-wal")):
        with contextlib.suppress(OSError):  # it may be gone by now
            times_s.append(each.stat().st_mtime)
    return max(times_s)


def _listens(path: Path) -> bool:
    from logger.recorder.client import socket_path

    with contextlib.suppress(OSError, RiseError), socket.socket(socket.AF_UNIX) as asked:
        asked.settimeout(0.5)
        asked.connect(str(socket_path(path)))
        return True
    return False
