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
    last_at: str = ""
    changed_s: float = 0.0
    recording: bool = False
    port: str = ""
    trouble: str = ""


def sessions_in(folder: Path) -> list[Kept]:
    """Every session of a folder, the one changed last first."""
    try:
        paths = [path for path in folder.glob("*.walk") if path.is_file()]
        paths.sort(key=lambda path: path.stat().st_mtime, reverse=True)
    except OSError:
        return []
    return [kept(path) for path in paths[:MOST]]


def kept(path: Path) -> Kept:
    """What one session file says of itself."""
    from logger.session.events import iso
    from logger.session.replay import field_book
    from logger.session.store import Session

    recording = _listens(path)
    try:
        changed_s = path.stat().st_mtime
        with Session.open(path) as session:
            book = field_book(session)
    except (RiseError, OSError) as error:
        return Kept(path, recording=recording, trouble=safe(error))
    last = iso(book.last_tag.at_us) if book.last_tag else ""
    return Kept(path, safe(book.job, 60), len(book.entries), last, changed_s, recording, book.port)


def _listens(path: Path) -> bool:
    from logger.recorder.client import socket_path

    with contextlib.suppress(OSError, RiseError), socket.socket(socket.AF_UNIX) as asked:
        asked.settimeout(0.5)
        asked.connect(str(socket_path(path)))
        return True
    return False
