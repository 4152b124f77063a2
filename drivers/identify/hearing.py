"""Listening to an unknown port: opened once, usual speeds tried in place, nothing sent unless the user allows it."""

import asyncio
import contextlib
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol, runtime_checkable

from drivers.errors import PortLost, PortSilent
from drivers.identify import Recognised, recognise
from drivers.identify.proposal import UNSURE, Candidate
from drivers.identify.text import printable_share
from drivers.instrument import InstrumentFile, from_tables, tables
from drivers.reading import Chunk, Reading, Reject
from drivers.registry import MakeTransport, make_decoder, make_transport
from drivers.tables import SerialTable
from drivers.transports import Transport

SPEEDS = (9600, 115200, 4800, 19200, 38400, 57600, 2400, 1200)
"""In the order they are tried; the first is what most instruments are delivered with."""
FIRST_SHARE = 0.3
"""Of the whole time, for the first speed."""
OPENING_S = 10.0
"""Opening may take this much longer than the listening."""
ENOUGH_BYTES = 40
FEW_BYTES = 12
READABLE = 0.95
ASKED = "asked"
"""Channel of the bytes that we sent."""

UNKNOWN = {"instrument": {"name": "unknown"}, "decoder": {"kind": "lines", "pattern": r"(?P<height>\d+)"}}


@runtime_checkable
class Adjustable(Protocol):
    """A transport whose serial settings can be changed while it is open."""

    async def adjust(self, table: SerialTable) -> None:
        """Take other settings; what came before is dropped."""


@dataclass(slots=True)
class Stretch:
    """What was heard with one setting, or in answer to one question."""

    serial: SerialTable
    ask: str = ""
    chunks: list[Chunk] = field(default_factory=list)

    @property
    def data(self) -> bytes:
        """The bytes heard."""
        return b"".join(chunk.data for chunk in self.chunks if chunk.channel != ASKED)

    @property
    def transcript(self) -> bytes:
        """The bytes heard, and our questions where they were asked."""
        return b"".join(chunk.data for chunk in self.chunks)


@dataclass(frozen=True, slots=True)
class Identified:
    """What was heard on a port and what it was taken for."""

    bytes: int
    candidates: tuple[Candidate, ...]
    readings: tuple[Reading, ...]
    rejects: Counter[Reject]
    silent: bool

    @property
    def best(self) -> Candidate | None:
        """The likeliest candidate."""
        return self.candidates[0] if self.candidates else None


class Hearing:
    """One port being listened to."""

    def __init__(self, transport: Transport, clock: Callable[[], float] = time.monotonic) -> None:
        self._transport = transport
        self._clock = clock
        self.stretches = [Stretch(SerialTable(baud=SPEEDS[0]))]
        self.lost = False
        self._news = asyncio.Event()

    async def pump(self) -> None:
        """Keep what comes in with the stretch it belongs to, until cancelled or the port is gone."""
        try:
            async for chunk in self._transport.chunks():
                self.stretches[-1].chunks.append(chunk)
                self._news.set()
        except PortLost:
            pass
        self.lost = True
        self._news.set()

    async def stay(self, until_s: float, *, enough: int = 0) -> None:
        """Listen until a time, or until so many bytes have been heard, or the port is gone."""
        while not self.lost and self._clock() < until_s and not 0 < enough <= len(self.stretches[-1].data):
            self._news.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(max(until_s - self._clock(), 0.0)):
                    await self._news.wait()

    async def adjust(self, serial: SerialTable) -> None:
        """Begin a stretch with other settings."""
        if isinstance(self._transport, Adjustable):
            await self._transport.adjust(serial)
        self.stretches.append(Stretch(serial))

    async def ask(self, question: bytes, name: str, until_s: float) -> None:
        """Begin a stretch with a question and listen for its answer."""
        self.stretches.append(Stretch(self.stretches[-1].serial, name))
        await self.repeat(question, until_s)

    async def repeat(self, question: bytes, until_s: float) -> None:
        """Ask again in the same stretch."""
        stretch = self.stretches[-1]
        before = len(stretch.data)
        stretch.chunks.append(Chunk(self._clock(), question, ASKED))
        await self._transport.write(question)
        await self.stay(until_s, enough=before + 1)
        await self.stay(min(until_s, self._clock() + 0.05))

    async def try_speeds(self, until_s: float) -> None:
        """Where the first speed gave garbage, try the others, and stay with the one that gives sense."""
        slice_s = (until_s - self._clock()) / len(SPEEDS)
        for baud in SPEEDS[1:]:
            await self.adjust(SerialTable(baud=baud))
            await self.stay(self._clock() + slice_s, enough=ENOUGH_BYTES)
            if sensible(self.stretches[-1].data):
                return
        best = max(self.stretches, key=lambda s: printable_share(s.data) if len(s.data) >= FEW_BYTES else 0.0)
        await self.adjust(best.serial)

    def forget(self) -> None:
        """Nothing was answered: begin a stretch that asks nothing, with the first setting."""
        self.stretches.append(Stretch(self.stretches[0].serial))

    def settled(self) -> Stretch:
        """All that was heard with the last setting and question, joined."""
        last = self.stretches[-1]
        same = [s for s in self.stretches if s.serial == last.serial and s.ask == last.ask]
        return Stretch(last.serial, last.ask, [chunk for stretch in same for chunk in stretch.chunks])


def sensible(data: bytes) -> bool:
    """Whether bytes look as they were sent: text, or something recognised."""
    if len(data) < FEW_BYTES:
        return False
    found = recognise(data)
    plain = bytes(b & 0x7F for b in data) if found.parity else data
    return printable_share(plain) >= READABLE or any(
        "right" in reason for c in found.candidates for reason in c.reasons
    )


async def identify(
    port: str,
    seconds: float,
    *,
    ask: bool = False,
    clock: Callable[[], float] = time.monotonic,
    make: MakeTransport = make_transport,
) -> Identified:
    """Listen for so many seconds in all and say what was heard. PortError where it cannot be opened."""
    until_s = clock() + seconds
    transport = make(port, from_tables(UNKNOWN, "unknown"), clock)
    try:
        await _opened(transport, port, seconds + OPENING_S)
    except BaseException:
        await transport.close()
        raise
    hearing = Hearing(transport, clock)
    pump = asyncio.ensure_future(hearing.pump())
    try:
        await hearing.stay(clock() + FIRST_SHARE * seconds)
        heard = hearing.stretches[-1].data
        if not heard and ask:
            from drivers.identify.asking import Asker

            await Asker(hearing, clock, until_s).ask_around()
        elif len(heard) >= FEW_BYTES and isinstance(transport, Adjustable) and not sensible(heard):
            await hearing.try_speeds(clock() + 0.7 * (until_s - clock()))
        await hearing.stay(until_s)
    finally:
        pump.cancel()
        await asyncio.gather(pump, return_exceptions=True)
        await transport.close()
    return conclude(hearing)


async def _opened(transport: Transport, port: str, within_s: float) -> None:
    try:
        async with asyncio.timeout(within_s):
            await transport.open()
    except TimeoutError:
        raise PortSilent(
            port, f"it did not open within {within_s:g} s; is it in use, or its server out of reach?"
        ) from None


def conclude(hearing: Hearing) -> Identified:
    """What the stretches of a hearing amount to."""
    from drivers.identify.asking import ask_table

    stretch = hearing.settled()
    total = sum(len(s.data) for s in hearing.stretches)
    found = _recognised(stretch)
    extra = {"serial": _serial(stretch.serial, found)} | ask_table(stretch.ask)
    candidates = tuple(_with(c, extra) for c in found.candidates)
    instrument = candidates[0].instrument if candidates else None
    readings, rejects = _decoded(stretch, instrument, found)
    return Identified(total, candidates, readings, rejects, silent=total == 0)


def _recognised(stretch: Stretch) -> Recognised:
    """What was heard, or answered to the question of this stretch."""
    kind, _, query = stretch.ask.partition(" ")
    if kind == "scpi":
        from drivers.identify.answers import recognise_answers

        found = recognise_answers(stretch.data, query)
        if found:
            return Recognised(tuple(found))
    if kind == "modbus":
        return recognise(stretch.transcript, polled=True)
    return recognise(stretch.data)


def _serial(serial: SerialTable, found: Recognised) -> dict[str, Any]:
    seven = {"bits": 7, "parity": found.parity} if found.parity else {}
    return serial.model_dump(exclude_defaults=True) | seven


def _with(candidate: Candidate, extra: dict[str, Any]) -> Candidate:
    if not candidate.tables:
        return candidate
    added = {name: table for name, table in extra.items() if table}
    merged = {"instrument": candidate.tables["instrument"], **added, **candidate.tables}
    return Candidate(candidate.confidence, candidate.reasons, merged)


def _decoded(
    stretch: Stretch, instrument: InstrumentFile | None, found: Recognised
) -> tuple[tuple[Reading, ...], Counter[Reject]]:
    if instrument is None:
        return (), Counter()
    decoder = make_decoder(instrument)
    readings: list[Reading] = []
    for chunk in stretch.chunks:
        if chunk.channel == ASKED and instrument.decoder.kind != "modbus":
            continue
        data = bytes(b & 0x7F for b in chunk.data) if found.parity else chunk.data
        readings += decoder.feed(Chunk(chunk.t_s, data, chunk.channel))
    return tuple(readings), decoder.rejects


def is_sure(candidate: Candidate) -> bool:
    """Whether a candidate is more than a guess."""
    return candidate.confidence >= UNSURE


def proposed(candidate: Candidate) -> dict[str, Any] | None:
    """The tables of its instrument file, with what matters spelled out even where it is the default."""
    instrument = candidate.instrument
    if instrument is None:
        return None
    decoder = instrument.decoder.model_dump(by_alias=True, exclude_none=True, mode="json")
    plain = tables(instrument)
    plain["decoder"] = {name: value for name, value in decoder.items() if value not in ("", [], {})}
    plain["height"] = {"unit": instrument.height.unit, "up": instrument.height.up} | plain.get("height", {})
    return plain
