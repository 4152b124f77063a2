"""What advertises around here, and what instrument an unknown Bluetooth LE device may be.

A device is connected to, its services are read and everything it sends by itself is listened to; nothing is written.
"""

import asyncio
import contextlib
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import quote

from drivers import gatt_values as gv
from drivers.ble_search import SCHEME, SEARCH_S, Target, search
from drivers.errors import InstrumentFileError, PortError, PortSilent
from drivers.identify import recognise
from drivers.identify.hearing import Identified
from drivers.identify.proposal import Candidate, best_first
from drivers.instrument import load, names
from drivers.radio import Peer, Seen, scanning, settle_goodbyes
from drivers.reading import Chunk, Reading, Reject
from drivers.registry import make_decoder
from drivers.tables import GattTable
from drivers.transports.ble import notifies
from drivers.transports.ble_hold import Hold

CONNECTING_S = 15.0
AIR_PA = (80_000.0, 110_000.0)
"""Pressures of the open air where people build: a probe that shows one measures against vacuum."""
HOUSEKEEPING = {"2a05", "2b29", "2b2a", "2a00", "2a01", "2a04", gv.BATTERY_LEVEL, gv.TEMPERATURE, *gv.DEVICE_FACTS}
LENGTHS, PRESSURES = {"m", "yd", "in", "ft"}, {"Pa", "bar", "mmHg", "psi"}


@dataclass(frozen=True, slots=True)
class Advertiser:
    """One device heard in a scan, and the instrument files at hand that may fit it.

    `port` names it: by its address, or by its name where the address will be another tomorrow; `notes` is what the
    files say one should know, each with the name of its file.
    """

    seen: Seen
    port: str
    instruments: tuple[str, ...]
    notes: tuple[str, ...]


async def advertising(seconds: float) -> list[Advertiser]:
    """What is heard in so many seconds, the strongest first; PortError where Bluetooth cannot be used."""
    heard: dict[str, Seen] = {}
    async with scanning("ble://") as advertised:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while True:
                    seen = await advertised.get()
                    heard[seen.address] = seen
    await settle_goodbyes()
    files = list(_files())
    called = Counter(seen.name for seen in heard.values())
    found = []
    for seen in sorted(heard.values(), key=lambda s: -(s.rssi if s.rssi is not None else -127)):
        fits = [(name, notes) for name, service, notes in files if service in seen.services]
        by_name = seen.wanders and bool(seen.name) and called[seen.name] == 1
        port = SCHEME + (quote(seen.name or "") if by_name else seen.address)
        notes = tuple(f"{name}: {text}" for name, text in fits if text)
        found.append(Advertiser(seen, port, tuple(name for name, _ in fits), notes))
    return found


def _files() -> Iterator[tuple[str, str, str]]:
    """The instrument files at hand for Bluetooth LE: name, the service it looks for, what one should know."""
    for name in names():
        with contextlib.suppress(InstrumentFileError):
            file = load(name)
            if isinstance(file.decoder, GattTable) and file.decoder.service:
                yield name, file.decoder.service, file.instrument.notes


@dataclass(slots=True)
class Survey:
    """What one characteristic was found to be and to send."""

    uuid: str
    service: str
    layout: gv.PresentationFormat | None
    sends: bool
    write: str = ""
    chunks: list[Chunk] = field(default_factory=list)

    @property
    def data(self) -> bytes:
        """All it sent, joined."""
        return b"".join(chunk.data for chunk in self.chunks)


async def identify_ble(port: str, seconds: float) -> Identified:
    """Connect, read the services, listen, and propose an instrument file; `seconds` counts for the whole."""
    until_s = time.monotonic() + seconds
    target = Target.parse(port)
    await settle_goodbyes()
    seen = await search(target, gv.ENVIRONMENTAL_SENSING, within_s=min(seconds, SEARCH_S))
    hold = Hold.take(port, seen.address)
    peer = Peer(port, seen, target.adapter)
    try:
        async with asyncio.timeout(CONNECTING_S):
            await peer.connect()
        surveys, aside = await _surveyed(peer)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(max(until_s - time.monotonic(), 0.5)):
                await peer.lost.wait()
    except TimeoutError:
        raise PortSilent(port, "it was found and did not finish connecting") from None
    finally:
        await peer.leave()
        hold.release()
    await settle_goodbyes()
    return conclude(seen.name or seen.address, surveys, aside)


def conclude(name: str, surveys: Sequence[Survey], aside: Sequence[Chunk]) -> Identified:
    """The instruments that a device may be, best first, and what the best makes of what was heard."""
    candidates = tuple(best_first([c for survey in surveys for c in _candidates(name, survey)]))
    total = sum(len(s.data) for s in surveys)
    readings: list[Reading] = []
    rejects: Counter[Reject] = Counter()
    instrument = candidates[0].instrument if candidates else None
    if instrument is not None:
        decoder, table = make_decoder(instrument), instrument.decoder
        assert isinstance(table, GattTable)
        wanted = table.notify or table.characteristic
        values = [c for s in surveys if s.uuid == wanted for c in s.chunks]
        for chunk in (*aside, *values):
            readings += decoder.feed(chunk)
        rejects = decoder.rejects
    return Identified(total, candidates, tuple(readings), rejects, silent=total == 0)


async def _surveyed(peer: Peer) -> tuple[list[Survey], list[Chunk]]:
    """Every characteristic that may hold a height, being listened to; and the descriptors as chunks."""
    surveys, aside = [], []
    for found in peer.characteristics():
        uuid = gv.short_uuid(found.uuid)
        if uuid in HOUSEKEEPING or not (notifies(found) or "read" in found.properties):
            continue
        described = await _format(peer, found)
        if described:
            aside.append(Chunk(time.monotonic(), described, f"{uuid}/{gv.PRESENTATION_FORMAT}"))
        layout = _layout(uuid, described)
        if layout is None and not notifies(found):
            continue
        service = gv.short_uuid(found.service_uuid)
        survey = Survey(uuid, service, layout, notifies(found), _writable(peer, service))
        surveys.append(survey)
        with contextlib.suppress(PortError):
            if "read" in found.properties and layout is not None:
                survey.chunks.append(Chunk(time.monotonic(), await peer.read(found), uuid))
            if survey.sends:
                await peer.subscribe(found, partial(_heard, survey))
    return surveys, aside


def _heard(survey: Survey, data: bytes) -> None:
    survey.chunks.append(Chunk(time.monotonic(), data, survey.uuid))


async def _format(peer: Peer, characteristic: Any) -> bytes:
    for descriptor in characteristic.descriptors:
        if gv.short_uuid(descriptor.uuid) == gv.PRESENTATION_FORMAT:
            with contextlib.suppress(PortError):
                return await peer.read_descriptor(descriptor)
    return b""


def _layout(uuid: str, described: bytes) -> gv.PresentationFormat | None:
    with contextlib.suppress(gv.NotThisLayout):
        return gv.PresentationFormat.parse(described)
    return gv.FIXED_FORMATS.get(uuid)


def _writable(peer: Peer, service: str) -> str:
    takes = {"write", "write-without-response"}
    found = (c for c in peer.characteristics(service) if takes & set(c.properties))
    return next((gv.short_uuid(c.uuid) for c in found), "")


def _candidates(name: str, survey: Survey) -> Iterable[Candidate]:
    if survey.layout is not None:
        yield from _described(name, survey, survey.layout)
    elif survey.data:
        for inner in recognise(survey.data).candidates:
            yield _carried(name, survey, inner)


def _described(name: str, survey: Survey, layout: gv.PresentationFormat) -> Iterable[Candidate]:
    unit = layout.unit or ""
    if unit not in LENGTHS | PRESSURES:
        return
    decoder = {"kind": "gatt", "service": survey.service, "characteristic": survey.uuid}
    height: dict[str, Any] = {"unit": unit}
    reasons = [f"characteristic {survey.uuid} of service {survey.service} tells its values in {unit}"]
    confidence = 0.9
    if layout.step is not None:
        height["resolution"] = f"{layout.step:g} {unit}"
        reasons.append(f"in steps of {layout.step:g} {unit}")
    if survey.uuid == gv.ELEVATION and (layout.step or 0.0) >= 0.01:
        confidence = 0.8
        reasons.append("steps of 10 mm are too coarse to set out steps")
    tables: dict[str, Any] = {"instrument": {"name": name}, "decoder": decoder, "height": height}
    if unit in PRESSURES:
        confidence = 0.7
        tables["fluid"] = {"kind": "water"}
        reasons.append("a pressure: height through water is assumed; set up = -1 if it grows as the probe goes down")
        if _air(survey, layout):
            confidence = 0.4
            reasons.append("it shows the pressure of the open air, so it may be no level at all")
    yield Candidate(confidence, tuple(reasons), tables)


def _air(survey: Survey, layout: gv.PresentationFormat) -> bool:
    with contextlib.suppress(gv.NotThisLayout, IndexError):
        return layout.unit == "Pa" and AIR_PA[0] <= layout.number(survey.chunks[-1].data) <= AIR_PA[1]
    return False


def _carried(name: str, survey: Survey, inner: Candidate) -> Candidate:
    reasons = (f"characteristic {survey.uuid} carries a serial line", *inner.reasons)
    if not inner.tables:
        return Candidate(inner.confidence, reasons)
    decoder = {"kind": "gatt", "service": survey.service, "notify": survey.uuid, "inner": inner.tables["decoder"]}
    if survey.write:
        decoder["write"] = survey.write
    rest = {n: t for n, t in inner.tables.items() if n not in ("instrument", "decoder", "serial")}
    return Candidate(inner.confidence, reasons, {"instrument": {"name": name}, "decoder": decoder, **rest})
