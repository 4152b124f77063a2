"""The session file: events are added at the end, each sealed with the digest of the one before, and never changed."""

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from logger.errors import CannotWrite, CorruptSession, Vanished
from logger.session.events import GENESIS, Draft, Event, sealed
from logger.session.lock import WriterLock
from logger.session.schema import FAULTS, LEFT, beside, connect_reader, connect_writer, make, named, said

COLUMNS = "n, at_us, t_us, kind, body, raw, digest"
SENSELESS = (KeyError, ValueError, TypeError, AttributeError, OverflowError, RecursionError)
"""What comes of reading a body or raw bytes that this program never wrote."""
ROW = (int, int, int, str, str, bytes, bytes)
LOGS = ("-wal", "-shm")
WRITER_WAIT_MS = 2000
PAGE = 200
FIRST_US, LAST_US = -62_135_596_800_000_000, 253_402_300_799_999_999
"""The years 1 to 9999: a time outside is damage, and no calendar shows it."""


class Session:
    """One walk on disk.

    Opened with `open` it only reads, at any time, also while a recorder writes; with `create` or `resume` it is
    the one writer. `append` returns when the events are durable; `logs` are the files SQLite keeps beside it then.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: WriterLock | None = None) -> None:
        self.path = path
        self._connection = connection
        self.lock = lock
        last = self.last()
        self.events_saved, self.digest = (last.n, last.digest) if last else (0, GENESIS)
        file = path.resolve()
        files = [file.with_name(file.name + end) for end in LOGS] if lock is not None else []
        self._identity = identity(path)
        self.logs = {file: identity(file) for file in files}

    @classmethod
    def open(cls, path: Path | str) -> Self:
        """Open for reading; FileError and its kinds say why not."""
        return cls(Path(path), connect_reader(Path(path)))

    @classmethod
    def create(cls, path: Path | str, lock: WriterLock | None = None) -> Self:
        """Make a new session and hold it for writing; CannotWrite if the file exists or the folder refuses."""
        path = Path(path)
        held = lock or WriterLock(path).acquire()
        try:
            if path.exists() and path.stat().st_size:
                raise CannotWrite(path, "it exists already")
            make(path)
            return cls._writer(path, held)
        except BaseException:
            held.release()
            raise

    @classmethod
    def resume(cls, path: Path | str, lock: WriterLock | None = None) -> Self:
        """Open an existing session to go on writing; InUse if another recorder holds it."""
        path = Path(path)
        held = lock or WriterLock(path).acquire()
        try:
            return cls._writer(path, held)
        except BaseException:
            held.release()
            raise

    @classmethod
    def _writer(cls, path: Path, lock: WriterLock) -> Self:
        connection = connect_writer(path)
        try:
            connection.execute(f"PRAGMA busy_timeout = {WRITER_WAIT_MS}")
            return cls(path, connection, lock)
        except BaseException:
            connection.close()
            raise

    def append(self, drafts: Iterable[Draft]) -> list[Event]:
        """Add events in one transaction and return them once they are on the disk; all or none are kept.

        Vanished if the file is not where it was, told also where there is nothing to add.
        """
        self._must_be_there()
        events: list[Event] = []
        before = self.digest
        for n, draft in enumerate(drafts, self.events_saved + 1):
            if not FIRST_US <= draft.at_us <= LAST_US:
                raise CannotWrite(self.path, "the computer's clock is outside the years 1 to 9999; set it")
            events.append(sealed(draft, n, before))
            before = events[-1].digest
        if not events:
            return events
        rows = [(e.n, e.at_us, e.t_us, e.kind, e.text, e.raw, e.digest) for e in events]
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany(f"INSERT INTO event ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            self._connection.execute("COMMIT")
        except FAULTS as error:
            self._undo()
            raise said(self.path, error) from error
        self.events_saved, self.digest = self.events_saved + len(events), before
        return events

    def events(self, *, after: int = 0, raw: bool = True) -> Iterator[Event]:
        """Events in order as saved when this was opened, after number `after`; without raw batches if `raw` is false.

        They are fetched page by page, so that a slow reader never stands in the way of a recorder.
        """
        which = "" if raw else "AND kind <> 'raw'"
        query = f"SELECT {COLUMNS} FROM event WHERE n > ? AND n <= ? {which} ORDER BY n LIMIT {PAGE}"
        last = self.events_saved
        while page := self._fetch(query, (after, last)):
            for event in page:
                if event.n <= after:
                    raise CorruptSession(
                        self.path, f"event {event.n} comes after {after}: the file is damaged", event.n
                    )
                after = event.n
                yield event

    def last(self) -> Event | None:
        """The last event, None in a session that has none."""
        return next(iter(self._fetch(f"SELECT {COLUMNS} FROM event ORDER BY n DESC LIMIT 1", ())), None)

    def sound(self) -> str:
        """What SQLite itself says of the file's pages: `ok`, or the first fault."""
        try:
            return str(self._connection.execute("PRAGMA integrity_check(1)").fetchone()[0])
        except FAULTS as error:
            return str(error)

    def copy_to(self, out: Path) -> None:
        """Write one self-contained file of what is saved now, also from a live session; it has its name once whole."""
        new = None
        try:
            new = beside(out)
            self._connection.execute("VACUUM INTO ?", (str(new),))
            named(new, out)
        except FAULTS as error:
            fault = said(out, error)
            known = isinstance(fault, CannotWrite | CorruptSession)
            raise (fault if known else CannotWrite(out, "its folder is not there, or cannot be written")) from error
        except OSError as error:
            raise CannotWrite(out, f"it cannot be written ({error.strerror})") from error
        finally:
            if new is not None:
                with contextlib.suppress(OSError):
                    new.unlink(missing_ok=True)

    def close(self) -> None:
        """Close; a writer leaves one plain file that can be read anywhere, and gives its lock back."""
        try:
            if self.lock is not None and self.in_place:
                self._fold()
        finally:
            self._connection.close()
            if self.lock is not None:
                self.lock.release()

    @property
    def has_logs_here(self) -> bool:
        """Whether a log beside the place of the file is still this one's."""
        return any(was and identity(log) == was for log, was in self.logs.items())

    def make_way(self) -> None:
        """Put what the logs hold into the moved file, wherever it is, and take them away.

        SQLite would take them for those of whatever file has the name next.
        """
        try:
            whole = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
        except sqlite3.Error:
            whole = False
        for log, was in self.logs.items():
            if was and identity(log) == was:
                with contextlib.suppress(OSError):
                    log.unlink() if whole else log.replace(log.with_name(log.name + LEFT))

    def leave(self, other: "Session") -> None:
        """Let the file go for another that holds the same; its lock is given back unless the other has it."""
        lock, self.lock = self.lock, None
        self.close()
        if lock is not None and lock is not other.lock:
            lock.release()

    def _fold(self) -> None:
        try:
            self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._connection.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.Error:
            pass  # a reader is at work or the disk is full: the log stays beside the file, nothing is lost

    def _undo(self) -> None:
        if self._connection.in_transaction:
            with contextlib.suppress(sqlite3.Error):  # it may have been rolled back by itself
                self._connection.execute("ROLLBACK")

    @property
    def in_place(self) -> bool:
        """Whether the file being written is still the one that has its name."""
        return identity(self.path) == self._identity

    def _must_be_there(self) -> None:
        if self.lock is None:
            raise CannotWrite(self.path, "it was opened to be read")
        if not self.in_place:
            raise Vanished(self.path, "the file was moved, removed or replaced while recording; put it back")
        self.lock.acquire()

    def _fetch(self, query: str, values: Sequence[object]) -> list[Event]:
        try:
            rows = self._connection.execute(query, values).fetchall()
        except FAULTS as error:
            raise said(self.path, error) from error
        for row in rows:
            if tuple(map(type, row)) != ROW or not FIRST_US <= row[1] <= LAST_US:
                raise CorruptSession(self.path, "an event is not in the form of a session", row[0])
        return [Event(*row) for row in rows]

    @contextlib.contextmanager
    def making_sense(self, event: Event) -> Iterator[None]:
        """CorruptSession names the event where what it says or holds makes no sense to the reader inside."""
        try:
            yield
        except SENSELESS as error:
            why = f"event {event.n} ({event.kind}) makes no sense ({error})"
            raise CorruptSession(self.path, why, event.n) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def identity(path: Path) -> tuple[int, ...]:
    """What tells a file from another that has had its name; empty where there is none."""
    try:
        status = path.stat()
    except OSError:
        return ()
    return (status.st_dev, status.st_ino)
