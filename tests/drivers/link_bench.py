"""What the tests of the line to an instrument share: a virtual level on a pseudo-terminal, and waiting for events."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from drivers.connection import Connection, Patience
from drivers.errors import PortError
from drivers.instrument import InstrumentFile, load
from drivers.reading import Chunk, Link, LinkChanged
from drivers.simulator.virtual import VirtualInstrument

QUICK = Patience(opening=2.0, silence=0.6, stale=0.2, pause=0.01, longest_pause=0.05)


def level(speak: str = "lines", rate_hz: float = 200) -> VirtualInstrument:
    return VirtualInstrument(speak=speak, seed=1, rate_hz=rate_hz)


@asynccontextmanager
async def connected(connection: Connection) -> AsyncIterator[AsyncIterator[Chunk | LinkChanged]]:
    events = connection.events()
    try:
        yield events
    finally:
        await connection.close()
        await events.aclose()  # type: ignore[attr-defined]


async def until(
    events: AsyncIterator[Chunk | LinkChanged], wanted: Callable[[Chunk | LinkChanged], bool], within_s: float = 5.0
) -> list[Chunk | LinkChanged]:
    """The events up to the first one wanted."""
    seen = []
    async with asyncio.timeout(within_s):
        async for event in events:
            seen.append(event)
            if wanted(event):
                return seen
    raise AssertionError(f"ended after {seen[-3:]}")


def is_state(*states: Link) -> Callable[[Chunk | LinkChanged], bool]:
    return lambda event: isinstance(event, LinkChanged) and event.state in states


def is_chunk(event: Chunk | LinkChanged) -> bool:
    return isinstance(event, Chunk)


async def raised(port: str, instrument: InstrumentFile | None = None, **kind: object) -> PortError:
    connection = Connection(port, instrument or load("ascii-lines"), patience=QUICK, **kind)
    try:
        async with connected(connection) as events:
            async for _ in events:
                pass
    except PortError as error:
        return error
    raise AssertionError("it opened and talked")


class Counting(VirtualInstrument):
    """Says the number of the line as its height."""

    def __init__(self, like: VirtualInstrument) -> None:
        super().__init__(speak="lines", rate_hz=1 / like.period_s)
        self.count = 0

    def due(self, now_s: float) -> bytes:
        lines = super().due(now_s).count(b"\n")
        said = b"".join(f"{(self.count + i + 1) / 10000:+.4f} m\r\n".encode() for i in range(lines))
        self.count += lines
        return said
