"""The session file as SQLite sees it: its tables, its marks, and how a connection to it is set up."""

import contextlib
import os
import shutil
import sqlite3
import tempfile
from pathlib import Path
from urllib.parse import quote

from logger.errors import CannotWrite, CorruptSession, FileError, NewerSession, NotASession

APPLICATION_ID = 0x52535754
VERSION = 1
BUSY_S = 5.0
LEFT = ".left"
"""What a log is called whose session is gone."""
LONGEST_VALUE = 64 * 1024 * 1024
NO_ROOM_BESIDE = (sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_SHMOPEN, sqlite3.SQLITE_IOERR_SHMMAP)
"""The file that readers and writer share beside a session cannot be made or grow: the disk is full."""
FAULTS = (sqlite3.Error, UnicodeDecodeError)
"""What SQLite raises; its own message may hold bytes of a damaged file that are no text."""

TABLE = """CREATE TABLE event (
    n INTEGER PRIMARY KEY,
    at_us INTEGER NOT NULL,
    t_us INTEGER NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    raw BLOB NOT NULL,
    digest BLOB NOT NULL CHECK (length(digest) = 32)
) STRICT"""
TALK = "CREATE INDEX talk ON event (n) WHERE kind <> 'raw'"
NO_UPDATE = """CREATE TRIGGER no_update BEFORE UPDATE ON event BEGIN
    SELECT RAISE(ABORT, 'a session is never changed, only added to'); END"""
NO_DELETE = """CREATE TRIGGER no_delete BEFORE DELETE ON event BEGIN
    SELECT RAISE(ABORT, 'a session is never changed, only added to'); END"""
IN_ORDER = """CREATE TRIGGER in_order BEFORE INSERT ON event
    WHEN NEW.n IS NOT (SELECT coalesce(max(n), 0) + 1 FROM event) BEGIN
    SELECT RAISE(ABORT, 'events are added at the end, one after the other'); END"""
SCHEMA = (TABLE, TALK, NO_UPDATE, NO_DELETE, IN_ORDER)


def make(path: Path) -> None:
    """Make an empty session; CannotWrite where the disk or folder refuses.

    It is made under another name and gets its own once it is whole, so that no power cut leaves half a session.
    """
    new = beside(path)
    try:
        connection = sqlite3.connect(new, isolation_level=None)
        try:
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {VERSION}")
            for statement in SCHEMA:
                connection.execute(statement)
            connection.execute("COMMIT")
        finally:
            connection.close()
        named(new, path)
    except (*FAULTS, OSError) as error:
        with contextlib.suppress(OSError):
            new.unlink(missing_ok=True)
        raise CannotWrite(path, f"the session cannot be made ({error})") from error


def beside(path: Path) -> Path:
    """The name under which a file is written until it is whole; nothing has it now."""
    new = path.with_name(f".{path.name}.new")
    new.unlink(missing_ok=True)
    return new


def named(new: Path, path: Path) -> None:
    """Give a finished database its name, durably.

    A log left there by a session that is gone is set aside: SQLite would take it for this one's.
    """
    _sync(new)
    log = path.with_name(path.name + "-wal")
    if log.exists():
        log.replace(log.with_name(log.name + LEFT))
    new.replace(path)
    if os.name == "posix":
        _sync(path.parent)


def _sync(path: Path) -> None:
    held = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(held)
    finally:
        os.close(held)


def connect_writer(path: Path) -> sqlite3.Connection:
    """A connection that appends durably: write-ahead log, FULL synchronous, triggers that also see REPLACE."""
    _must_exist(path)
    try:
        connection = _connect(f"file:{quote(str(path.absolute()))}?mode=rw")
        check(connection, path)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
    except FAULTS as error:
        raise said(path, error) from error
    return connection


def connect_reader(path: Path) -> sqlite3.Connection:
    """A connection that only reads, also while a recorder writes, also in a folder that cannot be written."""
    _must_exist(path)
    try:
        connection = _connect(f"file:{quote(str(path.absolute()))}?mode=ro")
        try:
            connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        except sqlite3.OperationalError as error:
            if not _cannot_open(error):
                raise
            connection.close()
            connection = _where_nothing_can_be_written(path)
        check(connection, path)
    except FAULTS as error:
        raise said(path, error) from error
    return connection


def _must_exist(path: Path) -> None:
    if not path.exists():
        raise FileError(path, "there is no such file")
    if not path.is_file():
        raise NotASession(path, "this is not a file")


def _cannot_open(error: sqlite3.Error) -> bool:
    code = error.sqlite_errorcode
    return code & 0xFF in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY) or code in NO_ROOM_BESIDE


def _where_nothing_can_be_written(path: Path) -> sqlite3.Connection:
    path = path.resolve()
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        return _connect(f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1")
    # The log left by a killed recorder must be read with the file; no writer can be at work in such a folder.
    try:
        return _in_memory(path, log)
    except OSError as error:
        raise FileError(path, f"it cannot be read together with its log ({error.strerror})") from error


def _in_memory(path: Path, log: Path) -> sqlite3.Connection:
    connection = _connect("file::memory:")
    with tempfile.TemporaryDirectory(prefix="risewalk-") as folder:
        copy = Path(folder) / path.name
        shutil.copyfile(path, copy)
        shutil.copyfile(log, copy.with_name(log.name))
        with contextlib.closing(_connect(f"file:{quote(str(copy))}?mode=rw")) as source:
            source.backup(connection)
    connection.execute("PRAGMA query_only = ON")
    return connection


def _connect(uri: str) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False, timeout=BUSY_S)
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
    connection.text_factory = _text
    for setting in ("trusted_schema = OFF", "recursive_triggers = ON", "cell_size_check = ON", "mmap_size = 0"):
        connection.execute(f"PRAGMA {setting}")
    return connection


def _text(value: bytes) -> str:
    return value.decode("utf-8", "surrogateescape")


def check(connection: sqlite3.Connection, path: Path) -> None:
    """Refuse what is not a session, one of a later version, and one whose tables or triggers are not exactly ours.

    The marks are asked for through SQLite: opening the file beside it would drop its locks on close.
    """
    try:
        _check(connection, path)
    except BaseException:
        connection.close()
        raise


def _check(connection: sqlite3.Connection, path: Path) -> None:
    marks = [connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("application_id", "user_version")]
    if marks[0] != APPLICATION_ID or marks[1] < 1:
        raise NotASession(path, "this is not a session of this program")
    if marks[1] > VERSION:
        raise NewerSession(path, f"written by a later version (format {marks[1]}, this one reads up to {VERSION})")
    found = {row[0] for row in connection.execute("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL")}
    if found != set(SCHEMA):
        raise CorruptSession(path, "its tables or triggers are not those of a session")


def said(path: Path, error: Exception) -> FileError:
    """What an error of SQLite means to the user."""
    code = getattr(error, "sqlite_errorcode", None)
    family = code & 0xFF if code is not None else sqlite3.SQLITE_CORRUPT
    if family == sqlite3.SQLITE_NOTADB:
        return NotASession(path, "this is not a session of this program")
    if family in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_ERROR):
        return CorruptSession(path, f"the file is damaged ({error})")
    if family == sqlite3.SQLITE_FULL or code in NO_ROOM_BESIDE:
        return CannotWrite(path, "the disk is full; free some space, nothing saved so far is lost")
    if family in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return CannotWrite(path, "another program is at work on it just now; try again")
    if family == sqlite3.SQLITE_READONLY:
        return CannotWrite(path, "the file or its folder cannot be written")
    if family == sqlite3.SQLITE_CANTOPEN:
        return FileError(path, "it cannot be opened")
    return CannotWrite(path, f"the disk refuses ({error})")
