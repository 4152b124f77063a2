"""Bluetooth LE values to readings: a characteristic with the height, or a serial line carried by two of them.

What a link tells besides values arrives as chunks too, so that a recorded session needs no radio to be read again:

    channel            bytes
    2a6c               a value of the characteristic
    2a6c/2904          its presentation format; /290c how it is measured; /2901 what its maker calls it
    2a6e, 2a19, 2a29…  temperature, battery, device information
    name, address      what the device advertises as
"""

import contextlib
import math
from collections.abc import Callable, Sequence

from drivers import gatt_values as gv
from drivers.decoders import BaseDecoder, Decoder
from drivers.instrument import SIGMAS, InstrumentFile
from drivers.reading import Chunk, Reading, Reject
from drivers.readings import NONE, Readings
from drivers.tables import GattTable

COARSE_M = 0.003
"""Steps of the height above this cannot hold the tolerance of a riser (3 mm, common practice)."""
TEMPERATURE_KEPT_S = 60.0
ADVERTISED = ("name", "address")
LONGEST_TEXT = 512
"""Octets of the longest value an attribute can have (Core Specification, Vol 3, Part F, 3.2.9)."""


class GattDecoder(BaseDecoder):
    """Readings of one Bluetooth LE instrument."""

    def __init__(self, instrument: InstrumentFile) -> None:
        super().__init__()
        table = instrument.decoder
        assert isinstance(table, GattTable)
        self._table = table
        self._scale = instrument.scale
        self._inner = _inner_decoder(instrument, table)
        self._value_channel = table.notify or table.characteristic
        self._written = gv.PresentationFormat.of(table.type) if table.type else None
        self._layout: gv.PresentationFormat | None = None
        self._temperature: tuple[float, float] | None = None
        self._battery: float | None = None
        self.reset()

    def reset(self) -> None:
        """A new link tells its formats anew; half a line of the old one is dropped."""
        self._layout = self._written or gv.FIXED_FORMATS.get(self._table.characteristic)
        self._temperature = None
        self.scale_u = 0.0
        self._told_resolution()
        if self._inner is not None:
            self._inner.reset()

    def request(self) -> bytes | None:
        """What the decoder of a serial line asks; a characteristic sends by itself or is read by the transport."""
        return self._inner.request() if self._inner is not None else None

    def feed(self, chunk: Chunk) -> Sequence[Reading]:
        """The readings of a value, or of the lines a piece of a serial line completed."""
        if chunk.channel == self._value_channel:
            return self._value(chunk) if self._inner is None else self._piece(self._inner, chunk)
        characteristic, _, descriptor = chunk.channel.partition("/")
        try:
            if descriptor:
                if characteristic == self._table.characteristic:
                    self._described(descriptor, chunk.data)
            else:
                self._aside(characteristic, chunk)
        except gv.NotThisLayout as error:
            self.rejects[Reject.LENGTH] += 1
            self.remark(f"{chunk.channel}: {error}")
        return NONE

    def _piece(self, inner: Decoder, chunk: Chunk) -> Sequence[Reading]:
        found = inner.feed(Chunk(chunk.t_s, chunk.data))
        self.rejects = inner.rejects
        for text in inner.remarks:
            self.remark(text)
        if not found or (self._battery is None and self._known_temperature(chunk.t_s) is None):
            return found
        return self._with_what_is_known(chunk.t_s, found)

    def _value(self, chunk: Chunk) -> Sequence[Reading]:
        layout = self._layout
        if layout is None:
            self.rejects[Reject.UNIT] += 1
            self.remark("the device has no presentation format; write `type` in the decoder table of the file")
            return NONE
        try:
            number = layout.number(chunk.data)
        except gv.NotThisLayout as error:
            self.rejects[Reject.LENGTH] += 1
            self.remark(f"{chunk.channel}: {error}")
            return NONE
        height = self._scale.height(number, layout.unit or "")
        reason = self._refusal(number, height)
        if reason is not None or height is None:
            self.rejects[reason or Reject.UNIT] += 1
            if height is None:
                self.remark(f"the device tells its values in {layout.unit}, which is no height; choose another")
            return NONE
        return Readings(
            chunk.t_s,
            (height,),
            temperatures_c=(self._known_temperature(chunk.t_s),),
            batteries=(self._battery,),
        )

    def _refusal(self, number: float, height_m: float | None) -> Reject | None:
        if not math.isfinite(number):
            return Reject.NOT_A_NUMBER
        if height_m is None:
            return Reject.UNIT
        if math.isnan(height_m):
            return Reject.NOT_A_NUMBER
        return None if self._scale.sane(height_m) else Reject.RANGE

    def _described(self, descriptor: str, data: bytes) -> None:
        match descriptor:
            case gv.PRESENTATION_FORMAT if self._written is None:
                self._layout = gv.PresentationFormat.parse(data)
                self._told_resolution()
            case gv.ES_MEASUREMENT:
                self._measured(gv.EsMeasurement.parse(data))
            case gv.USER_DESCRIPTION:
                self.facts["measures"] = _text(data)

    def _measured(self, how: gv.EsMeasurement) -> None:
        """Keep how the device says it measures; a share of the value is a scale that may be wrong by that much."""
        told = {
            "sampling": how.sampling if how.sampling != "unspecified" else "",
            "measurement period": f"{how.period_s} s" if how.period_s is not None else "",
            "update interval": f"{how.update_s} s" if how.update_s is not None else "",
            "applies to": how.application,
            "stated uncertainty": f"{how.uncertainty * 100:g} %" if how.uncertainty is not None else "",
        }
        self.facts |= {name: text for name, text in told.items() if text}
        self.scale_u = (how.uncertainty or 0.0) / SIGMAS["limit"]
        if how.uncertainty:
            self.remark(
                f"the device states {how.uncertainty * 100:g} % of what it shows as its uncertainty: "
                f"{how.uncertainty * 1000:g} mm in a metre of height"
            )
        if how.application in gv.ROUGH_SOURCES:
            self.remark(f"the device takes its heights from {how.application}: too rough to set out steps")

    def _aside(self, characteristic: str, chunk: Chunk) -> None:
        if characteristic == gv.TEMPERATURE:
            warm = gv.temperature_c(chunk.data)
            self._temperature = None if warm is None else (chunk.t_s, warm)
        elif characteristic == gv.BATTERY_LEVEL:
            self._battery = gv.battery_percent(chunk.data)
        elif characteristic in gv.DEVICE_FACTS or characteristic in ADVERTISED:
            self.facts[gv.DEVICE_FACTS.get(characteristic, characteristic)] = _text(chunk.data)
        elif characteristic != gv.DESCRIPTOR_VALUE_CHANGED:
            self.rejects[Reject.NOT_MINE] += 1

    def _told_resolution(self) -> None:
        layout = self._layout
        step = layout.step if layout is not None and self._inner is None else None
        self.resolution_m = 0.0
        if layout is None or step is None:
            return
        with contextlib.suppress(ValueError):
            self.resolution_m = abs(self._scale.up) * self._scale.span_m(f"{step:.17g} {layout.unit or ''}".rstrip())
        if self.resolution_m > COARSE_M:
            self.remark(
                f"the device tells heights in steps of {self.resolution_m * 1000:g} mm: too coarse to set out steps; "
                "use its pressure, or a characteristic with a finer presentation format"
            )

    def _known_temperature(self, t_s: float) -> float | None:
        if self._temperature is None or t_s - self._temperature[0] > TEMPERATURE_KEPT_S:
            return None
        return self._temperature[1]

    def _with_what_is_known(self, t_s: float, found: Sequence[Reading]) -> Readings:
        warm = self._known_temperature(t_s)
        return Readings(
            t_s,
            [r.height_m for r in found],
            temperatures_c=[warm if r.temperature_c is None else r.temperature_c for r in found],
            batteries=[self._battery if r.battery is None else r.battery for r in found],
            stables=[r.stable for r in found],
        )


def _inner_decoder(instrument: InstrumentFile, table: GattTable) -> Decoder | None:
    if table.inner is None:
        return None
    from drivers.registry import make_decoder

    make: Callable[[InstrumentFile], Decoder] = make_decoder
    return make(instrument.model_copy(update={"decoder": table.inner}))


def _text(data: bytes) -> str:
    return data[:LONGEST_TEXT].decode("utf-8", errors="replace").strip("\x00 ")
