"""Bytes to a settled height: the one path that the recorder, a replay and `verify` all take."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from drivers.decoders import Decoder
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reading, Reject
from drivers.registry import make_decoder
from logger.session.events import seconds
from logger.session.packing import RawChunk
from logger.settle import Live, Settled, Settler

WAY = 1
"""The way heights are decoded and settled; to be raised with any change that makes other numbers of the same bytes."""


def breaks(body: Mapping[str, Any]) -> bool:
    """Whether an event says that bytes before it may not be joined to those after it."""
    return bool(body.get("gap") or body.get("cut"))


class Pipeline:
    """Decoder and settler of one instrument, fed chunks in the order they arrived.

    Times are session times in whole microseconds, so that the same bytes give the same numbers to the last bit.
    """

    def __init__(self, instrument: InstrumentFile) -> None:
        self.instrument = instrument
        self.decoder: Decoder = make_decoder(instrument)
        self.rule = instrument.settle_rule
        self.settler = Settler(self.rule)
        self.readings = 0
        self.last: Reading | None = None

    def feed(self, chunk: RawChunk) -> Sequence[Reading]:
        """Decode one chunk and settle what it yields."""
        readings = self.decoder.feed(Chunk(seconds(chunk.t_us), chunk.data, chunk.channel))
        self._told_resolution()
        for reading in readings:
            self.settler.feed(reading.t_s, reading.height_m, reading.stable, reading.temperature_c)
        if readings:
            self.readings += len(readings)
            self.last = readings[-1]
        return readings

    def _told_resolution(self) -> None:
        """An instrument that tells coarser steps than its file is believed; it tells them before its first value."""
        told_m = getattr(self.decoder, "resolution_m", 0.0)
        if told_m > self.rule.resolution_m:
            self.rule = replace(self.rule, resolution_m=told_m)
            self.settler = Settler(self.rule)

    def gap(self) -> None:
        """The line was down: nothing heard before it may be joined to what comes after."""
        self.decoder.reset()
        self.settler = Settler(self.rule)

    def take(self, since_us: int, *, forced: bool) -> Settled | None:
        """The settled height of readings after `since_us`, or the next reading if forced; None while there is none."""
        since_s = seconds(since_us)
        settled = self.settler.force(since_s) if forced else self.settler.take(since_s)
        told_u = getattr(self.decoder, "scale_u", 0.0)
        return replace(settled, scale_u=told_u) if settled is not None and told_u else settled

    def live(self) -> Live | None:
        """What the instrument shows now, None before the first reading."""
        return self.settler.now() if self.last is not None else None

    @property
    def rejects(self) -> Counter[Reject]:
        """What the decoder refused, by reason."""
        return self.decoder.rejects
