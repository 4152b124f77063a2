"""A recorder with an instrument in the same process, on clocks the test moves."""

import asyncio
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest

from drivers.instrument import parse
from drivers.reading import Chunk, Link, LinkChanged
from logger.recorder.clock import SessionClock
from logger.recorder.recorder import Recorder
from logger.recorder.settings import Settings
from logger.session.store import Session

LINES = """
[instrument]
name = "Hose level, lines"
[decoder]
kind = "lines"
pattern = '(?P<height>[+-]?\\d+\\.\\d+)'
[height]
unit = "m"
resolution = "0.1 mm"
[settle]
window = "0.5 s"
spread = "2 mm"
"""
HZ = 20
Answer = dict[str, Any]
PATIENCE_S = 30


class Instrument:
    """A hose level on a line of its own; it speaks when the test says so, on the test's clock."""

    def __init__(self) -> None:
        self.steady_s, self.utc_us, self.slept_s = 1000.0, 1_777_000_000_000_000, 0.0
        self.height_m = 1.0
        self.heard: asyncio.Queue[Chunk | LinkChanged | Exception] = asyncio.Queue()
        self.closed = 0
        self._count = 0

    def clock(self) -> SessionClock:
        return SessionClock(lambda: self.steady_s, lambda: self.utc_us, lambda: self.slept_s)

    async def events(self) -> AsyncIterator[Chunk | LinkChanged]:
        while True:
            event = await self.heard.get()
            if isinstance(event, Exception):
                raise event
            yield event
            self.heard.task_done()

    async def close(self) -> None:
        self.closed += 1

    def wait(self, seconds: float) -> None:
        self.steady_s += seconds
        self.utc_us += round(seconds * 1e6)

    def sleep(self, seconds: float) -> None:
        """The machine is suspended: the steady clock counts it, and says so."""
        self.wait(seconds)
        self.slept_s += seconds

    def speak(self, text: str | None = None) -> None:
        self.wait(1 / HZ)
        self._count += 1
        shown = f"{self.height_m + 0.0001 * (self._count % 3):.4f} m\r\n" if text is None else text
        self.heard.put_nowait(Chunk(self.steady_s, shown.encode()))

    async def change(self, link: Link) -> None:
        self.heard.put_nowait(LinkChanged(self.steady_s, link, "the test says so"))
        await self.heard.join()


class Site:
    """One recorder and its instrument."""

    instrument = LINES

    def __init__(self, path: Path) -> None:
        self.path = path
        self.level = Instrument()

    def settings(self, **changed: Any) -> Settings:
        return Settings(
            **{"port": "the level", "instrument": parse(self.instrument, "test"), "job": "Oak Lane", "timeout_s": 30.0}
            | changed
        )

    async def start(self, **changed: Any) -> Recorder:
        self.recorder = Recorder(self.path, self.settings(**changed), lambda s, c: self.level, self.level.clock())
        self.level.speak()
        await self.recorder.start()
        return self.recorder

    async def ask(self, line: str) -> Answer:
        return await self.recorder.ask(line)

    async def tag(self, line: str, height_m: float | None = None) -> Answer:
        """Tag, with the instrument speaking until its height is taken."""
        if height_m is not None:
            self.level.height_m = height_m
        answer = await self.waiting(line)
        while self.recorder.acquisition.wait is not None:
            self.level.speak()
            await self.level.heard.join()
        return await answer

    async def waiting(self, line: str) -> asyncio.Task[Answer]:
        """Ask for a tag and return once it waits."""
        answer = asyncio.create_task(self.ask(line))
        await self.until(lambda: self.recorder.acquisition.wait is not None or answer.done())
        return answer

    async def until(self, condition: Callable[[], object]) -> None:
        """Wait for a condition that nothing announces."""
        async with asyncio.timeout(PATIENCE_S):
            while not condition():  # noqa: ASYNC110 - nothing announces it
                await asyncio.sleep(0.002)

    def events(self) -> list[Any]:
        """What is saved, without the raw bytes."""
        with Session.open(self.recorder.path) as session:
            return list(session.events(raw=False))

    async def resumed(self, away_s: float, **changed: Any) -> Answer:
        """Record a zero and a station, end, and start again after a while; the status then."""
        await self.start()
        await self.tag("benchmark BM", 1.0)
        await self.tag("station 1", 1.5)
        await self.ask("end")
        self.level.wait(away_s)
        await self.start(**changed)
        return await self.ask("status")


@pytest.fixture
async def site(tmp_path: Path) -> AsyncIterator[Site]:
    """A recorder that is not started yet."""
    site = Site(tmp_path / "slope.walk")
    yield site
    if hasattr(site, "recorder") and hasattr(site.recorder, "writer"):
        await site.recorder.close()
