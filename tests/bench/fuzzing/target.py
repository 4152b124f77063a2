"""What every reader under test has: valid inputs to start from, and `take`, which lets only a fault out."""

import tempfile
from abc import ABC, abstractmethod
from pathlib import Path

ROOT = Path(__file__).parents[3]


class Wrong(Exception):
    """A result that may not be."""


class Target(ABC):
    """One reader under test: valid inputs to start from, and `take`, which lets only a fault out."""

    @abstractmethod
    def seeds(self) -> list[bytes]:
        """Valid inputs."""

    @abstractmethod
    def take(self, data: bytes) -> None:
        """Read one input."""


class OfFile(Target):
    """What is read from a file; `folder` is where the damaged one lies."""

    def __init__(self) -> None:
        shm = Path("/dev/shm")
        self.folder = Path(tempfile.mkdtemp(prefix="risewalk-fuzz-", dir=shm if shm.is_dir() else None))

    def written(self, name: str, data: bytes) -> Path:
        """The file that holds these bytes, anew."""
        path = self.folder / name
        path.write_bytes(data)
        return path


def ours() -> tuple[type[Exception], ...]:
    """The errors a reader may raise."""
    from drivers.errors import DriverError
    from logger.errors import RiseError

    return (DriverError, RiseError)


def spoken(error: Exception) -> None:
    """Wrong where an error says nothing to a person."""
    if len(str(error).split()) < 3 or "Traceback" in str(error):
        raise Wrong(f"{type(error).__name__} says {str(error)!r}")
