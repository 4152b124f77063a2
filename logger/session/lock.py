"""One writer a session: a lock on a file beside it, held by the recorder and given back by the system if it dies."""

import json
import os
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

from logger.errors import CannotWrite, InUse


class WriterLock:
    """The right to write one session, held from `acquire` to `release`."""

    def __init__(self, session: Path) -> None:
        file = session.resolve()  # by whatever name it is opened, there is one lock
        self.path = file.with_name(file.name + ".lock")
        self.session = session
        self._file: int | None = None

    def acquire(self) -> Self:
        """Take the lock, or keep it; InUse if another holds it, CannotWrite where the folder refuses."""
        if self._file is not None:
            if _same(self._file, self.path):
                return self
            self.release()
        while self._file is None:
            try:
                held = os.open(self.path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
            except OSError as error:
                raise CannotWrite(self.session, f"its folder cannot be written ({error.strerror})") from error
            if not _lock(held):
                who = _holder(held)
                os.close(held)
                raise InUse(self.session, f"in use by {who}")
            if _same(held, self.path):
                self._file = held
            else:
                os.close(held)
        self._sign(self._file)
        return self

    def release(self) -> None:
        """Give the lock back and remove its file."""
        if self._file is None:
            return
        held, self._file = self._file, None
        try:
            if _same(held, self.path):
                self.path.unlink(missing_ok=True)
        except OSError:
            pass  # the folder went away: the lock goes with the descriptor
        finally:
            os.close(held)

    def _sign(self, held: int) -> None:
        command = Path(sys.argv[0] or "python").name.replace("__main__.py", "risewalk")
        text = json.dumps({"process": os.getpid(), "command": command})
        try:
            os.ftruncate(held, 0)
            os.lseek(held, 0, os.SEEK_SET)
            os.write(held, text.encode())
        except OSError:
            pass  # a full disk must not keep the session from being opened; only the name of the holder is lost

    def __enter__(self) -> Self:
        return self.acquire()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def _lock(held: int) -> bool:
    try:
        import fcntl
    except ImportError:
        import msvcrt

        try:
            msvcrt.locking(held, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _same(held: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(held), path.stat())
    except FileNotFoundError:
        return False


def _holder(held: int) -> str:
    try:
        os.lseek(held, 0, os.SEEK_SET)
        signed = json.loads(os.read(held, 500))
        return f"{signed['command']}, process {int(signed['process'])}"
    except (OSError, ValueError, KeyError, TypeError):
        return "another program"
