"""What can go wrong between a reading and the steps.

    RiseError
    ├── FileError                a file cannot be used; carries the path            (exit 4)
    │   ├── NotASession          not written by this program
    │   ├── NewerSession         written by a later version
    │   ├── CorruptSession       the digest chain or the database is broken; names the event
    │   └── WrongFile            a brief, CSV or catalogue a person wrote; carries every mistake
    ├── CannotWrite              the disk or folder refuses                          (exit 5)
    │   └── Vanished             the file being recorded was moved, removed or replaced
    ├── InUse                    another recorder writes this session                (exit 5)
    └── Refused                  a request that cannot be met; carries a machine word (`needs_zero` …)

Every message is a sentence a person on a slope can act on.
"""

from pathlib import Path


class RiseError(Exception):
    """Root of what `logger` raises."""


class FileError(RiseError):
    """A file cannot be used; `path` says which."""

    def __init__(self, path: Path | str, why: str) -> None:
        super().__init__(f"{path}: {why}")
        self.path = Path(path)


class NotASession(FileError):
    """The file was not written by this program."""


class NewerSession(FileError):
    """The file was written by a later version of this program."""


class CorruptSession(FileError):
    """The file is damaged or was changed; `event` is the number of the first bad event, if known."""

    def __init__(self, path: Path | str, why: str, event: int | None = None) -> None:
        super().__init__(path, why)
        self.event = event


class WrongFile(FileError):
    """A file a person wrote is wrong; `mistakes` holds every one as `place: what is wrong`."""

    def __init__(self, path: Path | str, mistakes: list[str]) -> None:
        super().__init__(path, "; ".join(mistakes))
        self.mistakes = mistakes


class CannotWrite(FileError):
    """The disk or folder refuses to be written."""


class Vanished(CannotWrite):
    """The file being recorded was moved, removed or replaced."""


class InUse(CannotWrite):
    """Another recorder writes this session."""


class Refused(RiseError):
    """A request that cannot be met; `error` is the machine word of the record protocol."""

    def __init__(self, error: str, message: str) -> None:
        super().__init__(message)
        self.error = error
