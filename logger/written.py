"""Files that people write: text that is really text, numbers that are really numbers."""

from pathlib import Path

from logger.errors import FileError, NotASession, WrongFile

LARGEST = 1e10
MOST_BYTES = 64 * 1024 * 1024


def number(text: str) -> float | None:
    """A number in plain digits, no larger than any on a map in any unit; None for anything else."""
    if not text or any(c not in "0123456789.+-eE" for c in text):
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if abs(value) <= LARGEST else None


def read_text(path: Path | str) -> str:
    """A text file that a person wrote; FileError where it cannot be read, is not text or is far too large."""
    try:
        with Path(path).open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(path, error.strerror or str(error)) from None
    if len(data) > MOST_BYTES:
        raise FileError(path, f"it is larger than {MOST_BYTES // 2**20} MB")
    if b"\x00" in data:
        raise NotASession(path, "it is neither a session nor a text file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise WrongFile(path, [f"line {line}: it is not UTF-8 text"]) from None
