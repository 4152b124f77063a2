"""A virtual instrument in this process: `sim://NAME`, NAME a protocol of the simulator or one put on stage by a test.

`sim://lines?rate=20&seed=3&ground=slope.csv` sets what it is made with.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from urllib.parse import parse_qs

from drivers.errors import PortBusy, PortLost, PortMissing
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk
from drivers.simulator.ground import read_ground
from drivers.simulator.speech import SPEECHES
from drivers.simulator.virtual import SLOPE, VirtualInstrument
from drivers.transports.arrivals import Arrivals

SCHEME = "sim://"
on_stage: dict[str, VirtualInstrument] = {}
"""Virtual instruments by name, for who wants to move one while it is listened to."""
taken: set[str] = set()


def virtual_of(port: str) -> VirtualInstrument:
    """The virtual instrument a port string names; PortMissing if there is none."""
    name, _, query = port.removeprefix(SCHEME).partition("?")
    if name in on_stage:
        return on_stage[name]
    if name not in SPEECHES:
        raise PortMissing(port, f"no virtual instrument {name!r}; there are {', '.join([*on_stage, *SPEECHES])}")
    options = {key: values[-1] for key, values in parse_qs(query).items()}
    try:
        ground = read_ground(Path(options["ground"])) if "ground" in options else SLOPE
        rate, seed = float(options.get("rate", "10")), int(options.get("seed", "0"))
        return VirtualInstrument(ground, name, seed=seed, rate_hz=rate)
    except ValueError as error:
        raise PortMissing(port, str(error)) from None


class SimulatedTransport:
    """One virtual instrument being listened to."""

    def __init__(self, port: str, instrument: InstrumentFile, clock: Callable[[], float] = time.monotonic) -> None:
        self.port = port
        self._clock = clock
        self._virtual: VirtualInstrument | None = None
        self._arrivals: Arrivals | None = None
        self._talk: asyncio.Task[None] | None = None

    async def open(self) -> None:
        """Begin to listen; PortBusy if this virtual instrument is listened to already."""
        virtual = virtual_of(self.port)
        if self.port in taken:
            raise PortBusy(self.port, "it is listened to already; close that first")
        taken.add(self.port)
        self._virtual = virtual
        self._arrivals = Arrivals(asyncio.get_running_loop())
        virtual.restart()
        self._talk = asyncio.ensure_future(self._talking(virtual, self._arrivals))

    async def chunks(self) -> AsyncIterator[Chunk]:
        """What it says, as it says it."""
        if self._arrivals is None:
            raise PortMissing(self.port, "it is not open")
        async for chunk in self._arrivals:
            yield chunk

    async def write(self, data: bytes) -> None:
        """Let it hear, and hear its answer."""
        if self._virtual is None or self._arrivals is None:
            raise PortLost(self.port, "it is not open")
        self._put(self._virtual.hear(data, self._clock()), self._arrivals)

    async def close(self) -> None:
        """Stop listening."""
        talk, self._talk = self._talk, None
        if talk is not None:
            talk.cancel()
            await asyncio.gather(talk, return_exceptions=True)
            taken.discard(self.port)
        if self._arrivals is not None:
            self._arrivals.end()
        self._virtual = None

    def lose(self, why: str = "the line was cut") -> None:
        """Cut the line, as pulling the cable does."""
        if self._arrivals is not None:
            self._arrivals.end(PortLost(self.port, why))

    async def _talking(self, virtual: VirtualInstrument, arrivals: Arrivals) -> None:
        while True:
            self._put(virtual.due(self._clock()), arrivals)
            wait_s = virtual.wait_s(self._clock())
            await asyncio.sleep(3600.0 if wait_s is None else max(wait_s, 0.001))

    def _put(self, data: bytes, arrivals: Arrivals) -> None:
        if data:
            arrivals.put(Chunk(self._clock(), data))
