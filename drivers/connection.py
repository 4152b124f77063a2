"""One owner of one instrument: finds it, opens it, listens, asks where it must be asked, and heals the line.

Before the instrument was ever live a failure is raised; afterwards a loss is waited for, with growing pauses, and
each attempt looks for the port afresh, because a replugged adapter may come back under another name.
"""

import asyncio
import contextlib
import logging
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass

from drivers.decoders import Decoder
from drivers.errors import DriverError, PortError, PortLost, PortSilent
from drivers.instrument import InstrumentFile
from drivers.ports import Identity, PortFinder
from drivers.quantities import quantity
from drivers.reading import Chunk, Link, LinkChanged
from drivers.registry import MakeTransport, make_decoder, make_transport
from drivers.transports import Transport

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Patience:
    """How long is waited, in seconds.

    `opening` bounds an attempt to open, the pause of the instrument file not counted; `silence` what may pass without
    a byte, None as the instrument file says. `pause` is the first wait before another attempt, doubled up to
    `longest_pause`.
    """

    opening: float = 10.0
    silence: float | None = None
    stale: float = 2.0
    pause: float = 0.25
    longest_pause: float = 5.0


class Connection:
    """The line to one instrument, for one consumer of `events`."""

    def __init__(
        self,
        port: str,
        instrument: InstrumentFile,
        *,
        clock: Callable[[], float] = time.monotonic,
        patience: Patience | None = None,
        finder: PortFinder | None = None,
        make: MakeTransport = make_transport,
    ) -> None:
        self.port = port
        self._instrument = instrument
        self._clock = clock
        self._patience = patience or Patience()
        silence = self._patience.silence
        self._silence_s = quantity(instrument.serial.silence, "s") if silence is None else silence
        self._wait_s = quantity(instrument.serial.wait, "s")
        self._finder = finder or PortFinder()
        self._make = make
        self._identity: Identity | None = None
        self._transport: Transport | None = None
        self._link: _Link | None = None
        self._closed = asyncio.Event()
        self._ever_live = False
        self.state = Link.SEARCHING

    async def events(self) -> AsyncIterator[Chunk | LinkChanged]:
        """Bytes and changes of the line, until `close`.

        Raises PortMissing, PortBusy, PortDenied or PortSilent while the instrument was never live.
        """
        pause_s = self._patience.pause
        try:
            while not self._closed.is_set():
                why = ""
                try:
                    async for event in self._attempt():
                        if isinstance(event, Chunk):
                            pause_s = self._patience.pause
                        yield event
                except PortError as error:
                    if not self._ever_live:
                        raise
                    why = str(error)
                    log.info("%s", why)
                if self._closed.is_set():
                    break
                if self.state in (Link.LIVE, Link.STALE):
                    yield self._change(Link.LOST, why)
                yield self._change(Link.WAITING, why)
                await self._sleep(pause_s)
                pause_s = min(2 * pause_s, self._patience.longest_pause)
        finally:
            await self._let_go()
        yield self._change(Link.CLOSED, "")

    async def close(self) -> None:
        """End `events` and let the port go; harmless twice."""
        self._closed.set()
        await self._let_go()

    async def write(self, data: bytes) -> None:
        """Send bytes to the instrument; PortLost if the line is down."""
        if self._transport is None:
            raise PortLost(self.port, "the line is down")
        await self._transport.write(data)

    async def _attempt(self) -> AsyncIterator[Chunk | LinkChanged]:
        yield self._change(Link.SEARCHING, "")
        port = await self._find()
        yield self._change(Link.OPENING, port if port != self.port else "")
        transport = self._transport = self._make(port, self._instrument, self._clock)
        opening_s = max(self._patience.opening, getattr(transport, "opening_s", 0.0)) + self._wait_s
        try:
            try:
                async with asyncio.timeout(opening_s):
                    await transport.open()
            except TimeoutError:
                raise PortSilent(self.port, f"it did not open within {opening_s:g} s") from None
            except DriverError:
                raise
            except Exception as error:
                raise _named(self.port, error) from error
            self._link = _Link(self.port, transport, self._instrument, self._clock)
            async for event in self._listen(self._link):
                yield event
        finally:
            await self._let_go()
            await transport.close()  # once more: `close` may have come while it was opening

    async def _find(self) -> str:
        if self._identity is None:
            self._identity = await self._finder.identity(self.port)
            return self.port
        return await self._finder.find(self.port, self._identity)

    async def _listen(self, link: "_Link") -> AsyncIterator[Chunk | LinkChanged]:
        link.start()
        heard = False
        silence_s = max(self._silence_s, 5 * link.every_s)
        stale_s = min(max(self._patience.stale, 3 * link.every_s), silence_s)
        last = self._clock()
        while not self._closed.is_set():
            quiet_for = self._clock() - last
            chunk = await link.next(max((silence_s if self.state != Link.LIVE else stale_s) - quiet_for, 0.0))
            if chunk is None and link.ended:
                if self._closed.is_set():
                    return
                raise PortLost(self.port, "the line was closed")
            if chunk is not None:
                last = self._clock()
                if not heard or self.state is Link.STALE:
                    heard = self._ever_live = True
                    yield self._change(Link.LIVE, "")
                yield chunk
            elif self._clock() - last >= silence_s:
                raise PortSilent(self.port, f"nothing was heard for {silence_s:g} s; {_silent(self._instrument)}")
            elif self.state is Link.LIVE:
                yield self._change(Link.STALE, f"nothing heard for {stale_s:g} s")

    async def _let_go(self) -> None:
        link, self._link = self._link, None
        if link is not None:
            await link.stop()
        transport, self._transport = self._transport, None
        if transport is not None:
            await transport.close()

    async def _sleep(self, seconds: float) -> None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._closed.wait()

    def _change(self, state: Link, why: str) -> LinkChanged:
        self.state = state
        return LinkChanged(self._clock(), state, why)


class _Link:
    """An open transport being listened to and, where needed, asked."""

    def __init__(self, port: str, transport: Transport, instrument: InstrumentFile, clock: Callable[[], float]) -> None:
        self._port = port
        self._transport = transport
        self._clock = clock
        asker = make_decoder(instrument)
        self._asker: Decoder | None = asker if asker.request() is not None else None
        ask = instrument.ask
        asked = ask is not None or self._asker is not None
        self.every_s = quantity(ask.every if ask else "0.2 s", "s") if asked else 0.0
        self._timeout_s = quantity(ask.timeout if ask else "1 s", "s")
        self._chunks: deque[Chunk] = deque()
        self._news = asyncio.Event()
        self._answered = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        self._error: DriverError | None = None
        self.ended = False

    def start(self) -> None:
        """Begin to listen and to ask."""
        self._tasks = [asyncio.ensure_future(self._pump())]
        if self._asker is not None:
            self._tasks.append(asyncio.ensure_future(self._ask(self._asker)))

    async def next(self, within_s: float) -> Chunk | None:
        """The next chunk; None if none came in time or the line ended. Raises what the line ended with."""
        if not self._chunks and not self.ended:
            self._news.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(within_s):
                    await self._news.wait()
        if self._chunks:
            return self._chunks.popleft()
        if self._error is not None:
            raise self._error
        return None

    async def stop(self) -> None:
        """End both tasks."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _pump(self) -> None:
        try:
            async for chunk in self._transport.chunks():
                self._chunks.append(chunk)
                self._news.set()
                if self._asker is not None:
                    self._asker.feed(chunk)
                    self._answered.set()
        except Exception as error:
            self._error = _named(self._port, error)
        finally:
            self.ended = True
            self._news.set()

    async def _ask(self, asker: Decoder) -> None:
        loop = asyncio.get_running_loop()
        try:
            while True:
                due = loop.time() + self.every_s
                request = asker.request()
                if request is not None:
                    self._answered.clear()
                    await self._transport.write(request)
                    with contextlib.suppress(TimeoutError):
                        async with asyncio.timeout(self._timeout_s):
                            await self._answered.wait()
                await asyncio.sleep(max(due - loop.time(), 0.0))
        except Exception as error:
            self._error = _named(self._port, error)
            self.ended = True
            self._news.set()


def _named(port: str, error: Exception) -> DriverError:
    """What a transport or decoder failed with; one that does not name it is a plug-in, or a mistake of ours."""
    if isinstance(error, DriverError):
        return error
    log.error("%s: %r", port, error, exc_info=error)
    return PortLost(port, f"what reads it failed ({type(error).__name__}: {error}); tell who made the plug-in")


def _silent(instrument: InstrumentFile) -> str:
    if instrument.ask is not None:
        return "is it switched on, and are speed and question of the instrument file right?"
    return "is it switched on, and set to send by itself? If it must be asked, the instrument file needs [ask]"
