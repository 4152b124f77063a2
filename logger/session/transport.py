"""A recorded session as a port: `replay://FILE`, paced as recorded, faster, or at once.

replay://slope.walk                 as it was, pauses cut to 2 s
replay://slope.walk?speed=10        ten times faster
replay://slope.walk?speed=0         at once
replay://slope.walk?pause=60        pauses of up to a minute are kept
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qs, unquote

from drivers.errors import PortLost, PortMissing
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk
from logger.errors import FileError
from logger.session.events import EventKind
from logger.session.packing import RawChunk
from logger.session.store import Session

SCHEME = "replay://"
PAUSE_S = 2.0


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay port names: the session, how many times faster (0: at once), the longest pause in seconds."""

    path: Path
    speed: float = 1.0
    pause_s: float = PAUSE_S


def replayed(port: str) -> Replayed:
    """Read a `replay://` port string; PortMissing where it makes no sense."""
    where, _, query = port.removeprefix(SCHEME).partition("?")
    asked = {key: values[-1] for key, values in parse_qs(query).items()}
    try:
        speed, pause_s = float(asked.pop("speed", 1.0)), float(asked.pop("pause", PAUSE_S))
    except ValueError:
        raise PortMissing(port, "speed and pause are numbers") from None
    if asked or not 0 <= speed < 1e6 or not 0 <= pause_s < 1e9:
        raise PortMissing(port, "write replay://FILE, with ?speed=10 or ?pause=60 behind it where wanted")
    try:
        path = Path(unquote(where)).expanduser()
    except (RuntimeError, ValueError):
        raise PortMissing(port, "there is no such user's folder; write the whole path") from None
    return Replayed(path, speed, pause_s)


def raw_chunks(session: Session) -> Iterator[RawChunk]:
    """Every chunk of a session in the order it arrived."""
    for event in session.events():
        if event.kind == EventKind.RAW:
            with session.making_sense(event):
                yield from event.chunks()


class ReplayTransport:
    """The bytes of a session, given again as a transport gives them; at its end the line is silent."""

    def __init__(self, port: str, instrument: InstrumentFile, clock: Callable[[], float]) -> None:
        self.port = port
        self._clock = clock
        self._replayed = replayed(port)
        self._session: Session | None = None
        self._closed = asyncio.Event()

    async def open(self) -> None:
        """Open the session for reading; PortMissing says why it cannot be played."""
        try:
            self._session = Session.open(self._replayed.path)
        except FileError as error:
            raise PortMissing(self.port, str(error)) from error

    async def chunks(self) -> AsyncIterator[Chunk]:
        """The recorded chunks when they are due, stamped with the clock, or with their own spacing if all at once."""
        if self._session is None:
            raise PortMissing(self.port, "it is not open")
        speed, pause_s = self._replayed.speed, self._replayed.pause_s
        start_s, first_us, due_s, before_us = self._clock(), None, 0.0, 0
        for chunk in raw_chunks(self._session):
            if first_us is None:
                first_us = before_us = chunk.t_us
            if speed:
                due_s += min((chunk.t_us - before_us) / 1e6, pause_s) / speed
                await self._until(start_s + due_s)
            if self._closed.is_set():
                return
            before_us = chunk.t_us
            t_s = self._clock() if speed else start_s + (chunk.t_us - first_us) / 1e6
            yield Chunk(t_s, chunk.data, chunk.channel)
        await self._closed.wait()

    async def write(self, data: bytes) -> None:
        """A recording cannot be asked: what is written is dropped; PortLost if it is not open."""
        if self._session is None:
            raise PortLost(self.port, "it is not open")

    async def close(self) -> None:
        """Let the file go."""
        self._closed.set()
        if self._session is not None:
            self._session.close()
            self._session = None

    async def _until(self, due_s: float) -> None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(max(0.0, due_s - self._clock())):
                await self._closed.wait()
