"""One tag after the other: waits for its height, makes the record, answers once it is durable."""

import asyncio
from dataclasses import dataclass

from logger.errors import Refused
from logger.recorder.acquisition import DEAF, DOWN, Acquisition, Saved, Wait
from logger.session.events import Draft, Event, EventKind
from logger.session.fieldbook import FieldBook
from logger.session.observed import Tag, observed_body
from logger.settle import Settled


@dataclass(slots=True)
class Tagging:
    """Observes what a tag asks for, in the field book and with the instrument of one recorder."""

    book: FieldBook
    acquisition: Acquisition
    timeout_s: float
    waiting: Tag | None = None

    async def observe(self, tag: Tag) -> Event:
        """Wait for the tag's height and save it; Refused says why not, CannotWrite that the disk did not take it."""
        self._must_relate(tag)
        loop, clock = asyncio.get_running_loop(), self.acquisition.clock
        since_us = clock.now_us()

        def draft(settled: Settled) -> Draft:
            body = observed_body(self.book, tag, settled, since_us)
            return Draft(clock.at_us(), clock.now_us(), EventKind.OBSERVED, body)

        done: asyncio.Future[Saved] = loop.create_future()
        wait = self.acquisition.wait = Wait(since_us, tag.forced, draft, done)
        timer = loop.call_later(self.timeout_s, self._too_late, wait)
        self.waiting = tag
        try:
            saved = await done
        finally:
            timer.cancel()
            self.acquisition.wait = self.waiting = None
        (event,) = await saved
        self.book.apply(event)
        return event

    def cancel(self) -> str | None:
        """End the wait of the tag that waits; the line it was written on, None if none waited."""
        tag = self.waiting
        refusal = Refused("cancelled", "the wait was ended; nothing was taken")
        return tag.written if self.acquisition.end_wait(refusal) and tag is not None else None

    def _must_relate(self, tag: Tag) -> None:
        if self.acquisition.deaf:
            raise Refused("cannot_write", DEAF)
        try:
            self.book.relate(tag.kind, tag.name, 0.0, tag.given_m)
        except Refused as refusal:
            if refusal.error == "needs_zero" and self.acquisition.state.link in DOWN:
                raise Refused("link_lost", "the line to the instrument is down; then observe the zero again") from None
            raise

    def _too_late(self, wait: Wait) -> None:
        if self.acquisition.state.link in DOWN:
            refusal = Refused("link_lost", f"the line to the instrument stayed down for {self.timeout_s:g} s")
        elif not wait.heard:
            refusal = Refused("no_readings", f"no reading came for {self.timeout_s:g} s")
        else:
            refusal = Refused("not_steady", self._how_unsteady())
        self.acquisition.end_wait(refusal)

    def _how_unsteady(self) -> str:
        live = self.acquisition.pipeline.live()
        moves = "" if live is None else f" (readings spread over {live.spread_m * 1000:.1f} mm)"
        return f"the reading was not steady within {self.timeout_s:g} s{moves}; wait and tag again, or force it"
