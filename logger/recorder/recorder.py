"""The recorder: owns the instrument and the session, and answers the lines of its clients in order."""

import asyncio
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

from drivers.reading import LinkChanged
from logger.errors import CannotWrite, InUse, Refused, RiseError
from logger.recorder.acquisition import Acquisition, Saved, Source
from logger.recorder.clock import SessionClock
from logger.recorder.commands import AT_ONCE, LOOKING, Command, Other, Word, read_command
from logger.recorder.lease import Lease
from logger.recorder.reports import Reports
from logger.recorder.settings import Settings
from logger.recorder.tagging import Tagging
from logger.recorder.writer import Writer
from logger.session.derive import Pipeline
from logger.session.events import Draft, Event, EventKind
from logger.session.fieldbook import FieldBook
from logger.session.lock import WriterLock
from logger.session.observed import Tag, taped_body
from logger.session.replay import field_book
from logger.session.store import Session

log = logging.getLogger(__name__)
Answer = dict[str, Any]
Reply = Callable[[Answer], None]
MakeSource = Callable[[Settings, SessionClock], Source]


class Recorder:
    """One session being recorded.

    `start` returns once the instrument is heard and the session is open; `submit` takes a line and calls back with
    its answer; `closed` is set when it has stopped.
    """

    def __init__(
        self, path: Path, settings: Settings, make_source: MakeSource, clock: SessionClock | None = None
    ) -> None:
        self.path = path
        self.settings = settings
        self.clock = clock or SessionClock()
        self.book = FieldBook()
        self.closed = asyncio.Event()
        self.socket: str | None = None
        self.lease = Lease(lambda: self.clock.now_us() / 1e6)
        self.moved = ""
        self._early: list[Draft] = []
        self.on_moved: Callable[[], None] = lambda: None
        self._make_source = make_source
        self._commands: asyncio.Queue[tuple[Command | Refused, str, Reply]] = asyncio.Queue()
        self._tasks: list[asyncio.Task[None]] = []
        self._closing: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Lock, open the port and hear it, then make or resume the session; nothing is left behind where that fails."""
        lock = WriterLock(self.path).acquire()
        session: Session | None = None
        try:
            before = self._read()
            await self._listen()
            session = Session.resume(self.path, lock) if before else Session.create(self.path, lock)
            self._open(session)
        except BaseException:
            await self._stop_listening()
            if session is not None:
                session.close()
            lock.release()
            raise
        self._serving = asyncio.create_task(self._serve())
        self._tasks += [asyncio.create_task(self.acquisition.tick()), asyncio.create_task(self.reports.watch())]

    def submit(self, line: str, reply: Reply) -> None:
        """Take one line; `reply` is called with its answer, at once for what does not wait for readings."""
        command: Command | Refused
        try:
            command = read_command(line, self.settings.units)
            if isinstance(command, Tag) or command.word not in LOOKING:
                self.lease.use(reply)
        except Refused as refusal:
            command = refusal
        if isinstance(command, Other) and command.word in AT_ONCE:
            try:
                answer = self._at_once(command, reply)
            except Exception as error:
                answer = _unforeseen(error)
            reply(answer | {"command": line.strip()})
        else:
            self._commands.put_nowait((command, line.strip(), reply))

    async def ask(self, line: str) -> Answer:
        """Take one line and wait for its answer."""
        answer: asyncio.Future[Answer] = asyncio.get_running_loop().create_future()
        self.submit(line, lambda told: None if answer.done() else answer.set_result(told))
        return await answer

    def leave(self, reply: Reply) -> None:
        """A client is gone: it watches no longer, and control is free if it had it."""
        self.lease.leave(reply)
        self.reports.watchers.discard(reply)

    async def close(self) -> None:
        """Save what was heard, close the session, let the port go; may be called more than once."""
        await self._closed(ending=False)

    async def _closed(self, *, ending: bool) -> None:
        if self._closing is None:
            self._closing = asyncio.create_task(self._close(ending))
        await asyncio.shield(self._closing)

    def _read(self) -> bool:
        if not self.path.exists() or not self.path.stat().st_size:
            return False
        with Session.open(self.path) as session:
            self.book = field_book(session)
            if (last := session.last()) is not None:
                self.book.last_us = (last.at_us, last.t_us)
        self.clock.go_on(self.book.last_us)
        return True

    async def _listen(self) -> None:
        source = self._make_source(self.settings, self.clock)
        pipeline = Pipeline(self.settings.instrument)
        self.acquisition = Acquisition(self.settings.port, source, pipeline, self.clock, self)
        self.tagging = Tagging(self.book, self.acquisition, self.settings.timeout_s)
        self.reports = Reports(self)
        listening = asyncio.create_task(self.acquisition.run())
        self._tasks = [listening]
        live = asyncio.create_task(self.acquisition.live.wait())
        try:
            await asyncio.wait([listening, live], return_when=asyncio.FIRST_COMPLETED)
        finally:
            live.cancel()
        if not self.acquisition.live.is_set():
            await listening
        listening.add_done_callback(self._listening_ended)

    def _open(self, session: Session) -> None:
        at_us, resumed = self.clock.at_us(), session.events_saved > 0
        goes_on = self.book.goes_on(at_us, self.settings.port, self.settings.instrument_digest)
        body = self.settings.opened(resumed=resumed, gap=not goes_on)
        self.book.apply(session.append([Draft(at_us, self.clock.now_us(), EventKind.OPENED, body)])[0])
        loop = asyncio.get_running_loop()
        self.writer = Writer(session, lambda: loop.call_soon_threadsafe(self._moved))
        self.keep(self._early)

    async def _close(self, ending: bool) -> None:
        await self._stop_listening()
        draft = Draft(self.clock.at_us(), self.clock.now_us(), EventKind.CLOSED, {})
        raw = self.acquisition.batch()
        saved = self.writer.offer([] if raw is None else [raw], [draft])
        try:
            await asyncio.wrap_future(saved)
        except RiseError as error:
            log.error("the session was not closed in its file: %s", error)
        await asyncio.to_thread(self.writer.close)
        if not ending:
            self._serving.cancel()
            await asyncio.gather(self._serving, return_exceptions=True)
            self.closed.set()

    async def _stop_listening(self) -> None:
        tasks, self._tasks = self._tasks, []
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        if hasattr(self, "acquisition"):
            await self.acquisition.source.close()

    def _listening_ended(self, task: asyncio.Task[None]) -> None:
        if task.cancelled() or self._closing is not None:
            return
        why = "the line ended"
        if (error := task.exception()) is not None:
            log.error("listening stopped", exc_info=error)
            why = str(error)
        self.acquisition.lost(why)

    def keep(self, drafts: list[Draft]) -> None:
        """Save raw bytes and changes of the line, now or when the disk allows it again."""
        if not hasattr(self, "writer"):
            self._early += drafts
            return
        for draft in drafts:
            if draft.kind != EventKind.RAW:
                self.book.apply(draft)
        self.writer.keep(drafts)

    def has_room(self) -> bool:
        """Whether more can be kept while the disk refuses."""
        return self.writer.has_room

    def offer(self, keep: list[Draft], draft: Draft) -> Saved:
        """Save a record with what was heard before it; the future says how it went."""
        return asyncio.wrap_future(self.writer.offer(keep, [draft]))

    def _moved(self) -> None:
        """The file was gone, and recording goes on in another: told to all, and kept in it."""
        gone, self.path = self.path, self.writer.session.path
        self.moved = f"{gone} was moved, removed or replaced; all of it and what follows is in {self.path}"
        log.warning("%s", self.moved)
        self.reports.tell({"event": "moved", "session": str(self.path.absolute()), "message": self.moved})
        self.keep([Draft(self.clock.at_us(), self.clock.now_us(), EventKind.NOTED, {"text": self.moved})])
        self.on_moved()

    def changed(self, change: LinkChanged) -> None:
        """Tell those who watch."""
        self.reports.tell({"event": "link", "link": str(change.state), "why": change.why})

    async def _serve(self) -> None:
        while not self.closed.is_set():
            command, line, reply = await self._commands.get()
            reply(await self._answered(command) | {"command": line})
            if isinstance(command, Other) and command.word is Word.END:
                self.closed.set()

    async def _answered(self, command: Command | Refused) -> Answer:
        try:
            if isinstance(command, Refused):
                raise command
            if isinstance(command, Tag):
                return self._kept(await self.tagging.observe(command))
            return await self._do(command)
        except Refused as refusal:
            return _refusal(refusal.error, str(refusal))
        except InUse as error:
            return _refusal("in_use", str(error))
        except (CannotWrite, OSError) as error:
            return _refusal("cannot_write", str(error))
        except Exception as error:
            return _unforeseen(error)

    def _kept(self, event: Event) -> Answer:
        return self.reports.entry(self.book.entry(event.body["n"]))

    async def _do(self, command: Other) -> Answer:
        book = self.book
        match command.word:
            case Word.FACE | Word.TREAD:
                body = taped_body(book, str(command.word), command.number, command.length_m, side=command.text)
                return self._kept(await self._save(EventKind.OBSERVED, body))
            case Word.SETUP:
                await self._save(EventKind.SETUP, {"setup": book.setup + 1})
                return {"ok": True, "event": "setup", "setup": book.setup, "needs_zero": True}
            case Word.SURFACE:
                await self._save(EventKind.SURFACE, {"surface": command.text})
                return {"ok": True, "event": "surface", "surface": command.text}
            case Word.ROD:
                await self._save(EventKind.ROD, {"rod_m": command.length_m})
                return {"ok": True, "event": "rod", "rod_m": command.length_m}
            case Word.STRIKE:
                return await self._strike(command)
            case Word.NOTE:
                event = await self._save(EventKind.NOTED, {"text": command.text})
                return {"ok": True, "event": "noted", "text": command.text, "at": event.at}
            case _:
                await self._closed(ending=True)
                saved = self.writer.session
                return {
                    "ok": True,
                    "event": "ended",
                    "events": saved.events_saved,
                    "digest": saved.digest.hex(),
                    "session": str(saved.path.absolute()),
                }

    async def _strike(self, command: Other) -> Answer:
        if self.book.entry(command.number).struck:
            raise Refused("unknown_observation", f"observation {command.number} is struck out already")
        body = {"n": command.number, "reason": command.text}
        event = await self._save(EventKind.STRUCK, body)
        needs = self.book.zero() is None
        return {"ok": True, "event": "struck", **body, "needs_zero": needs, "at": event.at}

    async def _save(self, kind: EventKind, body: Answer) -> Event:
        raw = self.acquisition.batch()
        draft = Draft(self.clock.at_us(), self.clock.now_us(), kind, body)
        (event,) = await self.offer([] if raw is None else [raw], draft)
        self.book.apply(event)
        return event

    def _at_once(self, command: Other, reply: Reply) -> Answer:
        match command.word:
            case Word.WATCH:
                (self.reports.watchers.add if command.on else self.reports.watchers.discard)(reply)
                return {"ok": True, "event": "watching", "on": command.on}
            case Word.CONTROL:
                return self._control(command, reply)
            case Word.LIST:
                return self.reports.listing()
            case Word.CANCEL:
                return {"ok": True, "event": "cancelled", "cancelled": self.tagging.cancel()}
            case _:
                return self.reports.status()

    def _control(self, command: Other, reply: Reply) -> Answer:
        try:
            self.lease.declare(reply, command.text)
        except Refused as refusal:
            return _refusal(refusal.error, str(refusal))
        return {"ok": True, "event": "control", "control": command.text}


def _refusal(error: str, message: str) -> Answer:
    return {"ok": False, "error": error, "message": message}


def _unforeseen(error: Exception) -> Answer:
    """The answer to a command that failed as nobody foresaw, so that it does not end the answers to all others."""
    log.error("a command failed", exc_info=error)
    return _refusal("cannot_write", str(error) or type(error).__name__)
