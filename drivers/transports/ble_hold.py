"""One owner for each Bluetooth instrument: a lock beside this user's run-time files, freed by the system if we die.

Bluetooth itself would let a second program join the link, and end it for both.
"""

import os
import re
import tempfile
import warnings
from pathlib import Path

from drivers.errors import PortBusy


class Hold:
    """The right to use the instrument at one address, from `take` to `release`."""

    def __init__(self, descriptor: int | None) -> None:
        self._descriptor = descriptor

    @classmethod
    def take(cls, port: str, address: str) -> "Hold":
        """Take it; PortBusy names who has it. Where the system has no such locks nothing is held."""
        try:
            import fcntl

            held = os.open(_folder() / f"ble-{re.sub('[^0-9A-Za-z]', '', address)}.lock", os.O_RDWR | os.O_CREAT, 0o600)
        except (ImportError, OSError):
            return cls(None)
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            who = os.pread(held, 32, 0).decode("ascii", errors="replace").strip()
            os.close(held)
            raise PortBusy(port, f"risewalk (process {who or '?'}) is using it already; close that first") from None
        os.ftruncate(held, 0)
        os.pwrite(held, str(os.getpid()).encode(), 0)
        return cls(held)

    def release(self) -> None:
        """Give it back; harmless twice."""
        held, self._descriptor = self._descriptor, None
        if held is not None:
            os.close(held)


def _folder() -> Path:
    from platformdirs import user_runtime_path

    with warnings.catch_warnings():  # it warns where the system names no such folder, and falls back by itself
        warnings.simplefilter("ignore")
        folder = user_runtime_path("risewalk", appauthor=False)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError:
        folder = Path(tempfile.gettempdir()) / f"risewalk-{os.getuid()}"
        folder.mkdir(mode=0o700, exist_ok=True)
    return folder
