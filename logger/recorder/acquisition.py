"""What listens to the instrument: keeps every byte, decodes it, completes the tag that waits, notices gaps.

It never waits for the disk: raw bytes and link changes are handed to the writer's thread.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import Protocol

from drivers.errors import PortSilent
from drivers.reading import Chunk, Link, LinkChanged
from logger.errors import Refused
from logger.recorder.clock import MICRO, SessionClock
from logger.session.derive import Pipeline
from logger.session.events import Draft, Event, EventKind, raw_draft, seconds
from logger.session.packing import RawChunk
from logger.settle import Settled

log = logging.getLogger(__name__)
TICK_S = 0.5
BATCH_BYTES = 32 * 1024
BATCH_US = 900_000
"""Raw bytes are kept in batches of at most a second, however late a tick comes."""
ASLEEP_US = 1 * MICRO
"""A machine that slept this long between two ticks lost bytes, and perhaps its instrument."""
STALLED_US = 5 * MICRO
"""A program that was not run for this long may have lost bytes: what comes after is not joined to what was before."""
STOPPED_US = 30 * MICRO
"""One that was not run for this long lost bytes for certain, and nobody watched the instrument."""
SET_US = 2 * MICRO
DEAF = "the disk has refused for so long that nothing more can be held; free some space, then observe the zero again"
MOST_UPSETS = 10
UPSET = "an error of ours in what was heard; it is in the log, the bytes are kept"
RECORDED = {Link.LIVE, Link.STALE, Link.LOST}
DOWN = {Link.LOST, Link.SEARCHING, Link.OPENING, Link.WAITING, Link.CLOSED}


class Source(Protocol):
    """What a connection to an instrument offers."""

    def events(self) -> AsyncIterator[Chunk | LinkChanged]:
        """Bytes and changes of the line, as they come."""

    async def close(self) -> None:
        """Let the port go."""


Saved = asyncio.Future[list[Event]]


@dataclass(slots=True)
class Wait:
    """A tag waiting for its height: `draft` makes its record, `done` gives the save of it or why there is none."""

    since_us: int
    forced: bool
    draft: Callable[[Settled], Draft]
    done: asyncio.Future[Saved]
    heard: bool = False


@dataclass(slots=True)
class State:
    """The line as the user is told of it."""

    link: Link = Link.OPENING
    why: str = ""
    battery: float | None = None
    chunks: int = 0
    bytes: int = 0
    last_us: int | None = None
    lost: int = 0


@dataclass(frozen=True, slots=True)
class Moment:
    """What the clocks show at once, in microseconds: the event loop's, the steady one, UTC, and sleep so far."""

    loop_us: int
    steady_us: int
    utc_us: int
    slept_us: int


class Outlet(Protocol):
    """Where what was heard goes."""

    def keep(self, drafts: list[Draft]) -> None:
        """Save these, now or when the disk allows it again; even if there are none, what waits is tried again."""

    def has_room(self) -> bool:
        """Whether more can be kept while the disk refuses."""

    def offer(self, keep: list[Draft], draft: Draft) -> Saved:
        """Save what must be kept and a record in one transaction; the future says how it went."""

    def changed(self, change: LinkChanged) -> None:
        """The line changed its state."""


@dataclass(slots=True)
class Acquisition:
    """One instrument being listened to."""

    port: str
    source: Source
    pipeline: Pipeline
    clock: SessionClock
    outlet: Outlet
    state: State = field(default_factory=State)
    wait: Wait | None = None
    pending: list[RawChunk] = field(default_factory=list)
    size: int = 0
    upsets: int = 0
    deaf: bool = False
    """Nothing is heard: the disk has refused for so long that no more can be held."""
    seen: Moment | None = None
    live: asyncio.Event = field(default_factory=asyncio.Event)

    async def run(self) -> None:
        """Listen until cancelled; a PortError is raised where the instrument never came alive."""
        async for event in self.source.events():
            if isinstance(event, Chunk):
                try:
                    self._chunk(event)
                except Exception as error:  # what nobody foresaw in one chunk must not end a day's listening
                    self.upset(error)
            else:
                self._link(event)
        if not self.live.is_set():
            raise PortSilent(self.port, "it closed before anything was heard")

    async def tick(self) -> None:
        """Hand over raw bytes at least once a second, and notice what happened to the clocks."""
        while True:
            await asyncio.sleep(TICK_S)
            self._look()
            self._room()
            if not self.pending:
                self.outlet.keep([])
            elif self.clock.now_us() - self.pending[0].t_us >= TICK_S * MICRO:
                self.flush()

    def batch(self) -> Draft | None:
        """The raw bytes not handed over yet, as one event; None if there are none."""
        if not self.pending:
            return None
        draft = raw_draft(self.clock.at_us(), self.pending)
        self.pending, self.size = [], 0
        return draft

    def flush(self) -> None:
        """Hand over the raw bytes heard so far."""
        if (draft := self.batch()) is not None:
            self.outlet.keep([draft])

    def gap(self, kind: EventKind, body: dict[str, object]) -> None:
        """Bytes were lost: keep that, start decoder and settling anew, end the wait of a tag."""
        self._keep(kind, {**body, "gap": True})
        self.pipeline.gap()
        self.state.lost += 1
        self.end_wait(
            Refused("link_lost", "the line to the instrument was lost; observe the zero again once it is back")
        )

    def upset(self, error: Exception) -> None:
        """Begin anew behind an error of ours in what was heard; where that does not help, it is raised."""
        self.upsets += 1
        if self.upsets > MOST_UPSETS:
            raise error
        log.error("what was heard could not be read", exc_info=error)
        self.gap(EventKind.LINK, {"state": str(Link.LOST), "why": UPSET})

    def end_wait(self, refusal: Refused) -> bool:
        """End the wait of a tag, if one waits."""
        wait, self.wait = self.wait, None
        if wait is None or wait.done.done():
            return False
        wait.done.set_exception(refusal)
        return True

    def lost(self, why: str) -> None:
        """Listening ended for good: to the session that is a lost line."""
        self._link(LinkChanged(seconds(self.clock.now_us()), Link.LOST, why))

    def _chunk(self, chunk: Chunk) -> None:
        self._look()
        if self.deaf:
            return
        raw = RawChunk(self.clock.session_us(chunk.t_s), chunk.data, chunk.channel)
        if self.pending and raw.t_us - self.pending[0].t_us > BATCH_US:
            self.flush()
        self.pending.append(raw)
        self.size += len(raw.data)
        state = self.state
        state.chunks += 1
        state.bytes += len(raw.data)
        state.link = Link.LIVE
        readings = self.pipeline.feed(raw)
        if readings:
            state.last_us = raw.t_us
            if readings[-1].battery is not None:
                state.battery = readings[-1].battery
            self._complete()
        self.live.set()
        if self.size >= BATCH_BYTES:
            self.flush()

    def _complete(self) -> None:
        if (wait := self.wait) is None or wait.done.done():
            return
        wait.heard = wait.heard or (self.state.last_us or 0) > wait.since_us
        try:
            settled = self.pipeline.take(wait.since_us, forced=wait.forced)
            if settled is None:
                return
            draft = wait.draft(settled)
        except ValueError as error:
            self.end_wait(Refused("no_readings", str(error)))
            return
        self.wait = None
        kept = self.batch()
        wait.done.set_result(self.outlet.offer([] if kept is None else [kept], draft))

    def _link(self, change: LinkChanged) -> None:
        was, state = self.state.link, self.state
        state.link, state.why = change.state, change.why
        if self.live.is_set() and change.state in RECORDED and change.state is not was:
            body: dict[str, object] = {"state": str(change.state), "why": change.why}
            if change.state is Link.LOST:
                self.gap(EventKind.LINK, body)
            else:
                self._keep(EventKind.LINK, {**body, "gap": False})
        self.outlet.changed(change)

    def _room(self) -> None:
        if self.deaf and self.outlet.has_room():
            self.deaf = False
            self.gap(EventKind.LINK, {"state": str(Link.LOST), "why": "the disk refused, and bytes were dropped"})
        elif not self.deaf and not self.outlet.has_room():
            self.flush()
            self.deaf = True
            self.end_wait(Refused("cannot_write", DEAF))

    def _look(self) -> None:
        """Notice what happened to the clocks: before bytes are joined that a sleep parted, and at each tick."""
        loop_s, clock, before = asyncio.get_running_loop().time(), self.clock, self.seen
        # not session time: to ask for it would move the bytes that still wait to this moment
        self.seen = Moment(round(loop_s * MICRO), round(clock.steady() * MICRO), clock.at_us(), clock.slept_us())
        if before is not None:
            self._passed(before, self.seen)

    def _passed(self, before: Moment, now: Moment) -> None:
        slept_us, ran_us = now.slept_us - before.slept_us, now.loop_us - before.loop_us
        set_us = (now.utc_us - before.utc_us) - (now.steady_us - before.steady_us)
        body: dict[str, object] = {"asleep_us": max(slept_us, 0), "set_us": set_us}
        if ran_us > STALLED_US:
            body["stalled_us"] = ran_us
        if slept_us > ASLEEP_US or ran_us > STOPPED_US:
            self.gap(EventKind.CLOCK, body)
        elif ran_us > STALLED_US:
            self._keep(EventKind.CLOCK, body | {"gap": False, "cut": True})
            self.pipeline.gap()
        elif abs(set_us) > SET_US:
            self._keep(EventKind.CLOCK, body | {"gap": False})

    def _keep(self, kind: EventKind, body: dict[str, object]) -> None:
        """Hand over the raw bytes heard so far, and an event after them."""
        drafts = [] if (raw := self.batch()) is None else [raw]
        self.outlet.keep([*drafts, Draft(self.clock.at_us(), self.clock.now_us(), kind, body)])
