"""One walk seen through its recorder: keeps what was last told, asks lines, and tells whoever shows it."""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import replace
from enum import StrEnum
from typing import Any, Protocol

from tui.walking.standing import Live, Row, Standing, live_of, row_of, standing_of

POLL_S = 1.0
Answer = Mapping[str, Any]


class RecorderLine(Protocol):
    """The other end of the `record` protocol: the client of a socket, or a replay."""

    async def ask(self, line: str) -> dict[str, Any]:
        """Send one line, wait for its answer; ConnectionError once the recorder is gone."""

    def events(self) -> AsyncIterator[dict[str, Any]]:
        """What it says unasked, until it is gone."""

    async def close(self) -> None:
        """Leave; the recorder goes on."""


class Heard(StrEnum):
    """What changed."""

    READING = "reading"
    BOOK = "book"
    LINK = "link"
    GONE = "gone"


class Walk:
    """The recorder's state as last told. `told` is called on each change, in the event loop's thread."""

    def __init__(self, line: RecorderLine, told: Callable[[Heard], None], clock: Callable[[], float] = time.monotonic):
        self.line = line
        self.rows: list[Row] = []
        self.standing: Standing | None = None
        self.gone = False
        self._told = told
        self._clock = clock
        self._live: Live | None = None
        self._live_s = 0.0
        self._standing_s = 0.0
        self._stale = asyncio.Event()

    async def attend(self) -> None:
        """Watch until the recorder is gone or this is cancelled."""
        polling = asyncio.create_task(self._poll())
        try:
            await self.line.ask("watch on")
            async for event in self.line.events():
                self._event(event)
        except ConnectionError:
            pass  # told below: there is one way to learn that it is gone
        finally:
            polling.cancel()
            await asyncio.gather(polling, return_exceptions=True)
        self.gone = True
        if self.standing is not None:
            self.standing = replace(self.standing, link="lost", why="the recorder is gone")
        self._told(Heard.GONE)

    async def ask(self, line: str, taken: Callable[[Answer], None] = lambda _: None) -> Answer:
        """Send a line; what it changed is known when this returns. `taken` is told at once of what is saved."""
        answer = await self.line.ask(line)
        if answer.get("ok"):
            if answer.get("event") == "observed":
                self._keep(row_of(answer))
                taken(answer)
            if answer.get("event") != "ended":
                await self.refresh()
        return answer

    async def ask_each(self, *lines: str) -> Answer:
        """Send lines one after the other until one is refused; the last answer."""
        answer: Answer = {}
        for line in lines:
            answer = await self.ask(line)
            if line != "cancel" and not answer.get("ok"):
                break
        return answer

    async def refresh(self) -> None:
        """Ask for the status, and for the book where it changed."""
        before = self.standing
        told = await self.line.ask("status")
        self.standing, self._standing_s = standing_of(told), self._clock()
        counts = (self.standing.observations, self.standing.struck)
        if before is None or counts != (len(self.rows), sum(r.struck for r in self.rows)):
            listed = await self.line.ask("list")
            self.rows = [row_of(told) for told in listed.get("observations", [])]
        self._told(Heard.BOOK)

    @property
    def live(self) -> Live | None:
        """The last reading with its age now."""
        if self._live is None:
            return None
        return replace(self._live, age_s=self._live.age_s + self._clock() - self._live_s)

    @property
    def now(self) -> Standing | None:
        """The last status with its ages now."""
        if self.standing is None:
            return None
        passed = self._clock() - self._standing_s
        zero = self.standing.zero
        aged = None if zero is None else replace(zero, age_s=zero.age_s + passed)
        return replace(self.standing, zero=aged, last_save_s=self.standing.last_save_s + passed)

    def _keep(self, row: Row) -> None:
        if not any(r.n == row.n for r in self.rows):
            self.rows.append(row)
        self._told(Heard.BOOK)

    def _event(self, event: Mapping[str, Any]) -> None:
        match event.get("event"):
            case "reading":
                with contextlib.suppress(KeyError, TypeError, ValueError):
                    self._live, self._live_s = live_of(event), self._clock()
                    self._told(Heard.READING)
            case "link":
                if self.standing is not None:
                    link, why = str(event.get("link", "")), str(event.get("why") or "")
                    self.standing = replace(self.standing, link=link, why=why)
                self._told(Heard.LINK)
            case "changed":
                self._stale.set()

    async def _poll(self) -> None:
        with contextlib.suppress(ConnectionError):
            while True:
                await self.refresh()
                self._stale.clear()
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._stale.wait(), POLL_S)
