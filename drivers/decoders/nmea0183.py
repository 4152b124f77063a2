"""NMEA 0183 sentences: altitude, depth, transducer measurements.

A sentence is `$` (or `!`), two letters of the talker, three of the sentence, fields between commas, `*`, and two hex
digits: the exclusive or of every byte between `$` and `*`.
"""

import math
import re
from collections.abc import Iterator

from drivers.checks import xor8
from drivers.decoders import BaseDecoder
from drivers.decoders.numbers import number
from drivers.framing import LineFramer
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reject
from drivers.readings import NONE, Readings
from drivers.tables import NmeaTable

XDR_UNITS = {"M": "m", "P": "Pa", "B": "bar", "I": "in", "F": "ft"}
"""Units of XDR (IEC 61162-1) that may be a height: metres, pascals, bars; inches and feet are seen too."""
HEIGHT_TYPES = "DP"
"""XDR types of displacement and pressure."""
START = re.compile(rb"[$!]")
HEAD = re.compile(rb"\w{3,}(?=,|$)")
"""What a sentence begins with; less than that is a piece of one."""
TEMPERATURE_KEPT_S = 60.0
"""A water temperature (MTW) belongs to the readings of the next minute."""


def sentences_of(line: bytes) -> list[tuple[bytes, bytes | None]]:
    """Body and written checksum of each sentence on a line, however they run into each other; None without one."""
    found = []
    for text in START.split(line)[1:]:
        body, _, told = text.partition(b"*")
        if HEAD.match(body):
            found.append((body, told.strip() or None))
    return found


def checksum_holds(body: bytes, told: bytes | None) -> bool:
    """Whether the written checksum is that of the body, and nothing else stands behind it."""
    return told is not None and len(told) == 2 and told.upper() == b"%02X" % xor8(body)


class NmeaDecoder(BaseDecoder):
    """Sentences of one kind to readings; temperatures of others are taken along."""

    def __init__(self, instrument: InstrumentFile) -> None:
        super().__init__()
        assert isinstance(instrument.decoder, NmeaTable)
        self._table = instrument.decoder
        self._scale = instrument.scale
        self._framer = LineFramer()
        self._ask = instrument.ask.send.encode() if instrument.ask is not None and instrument.ask.send else None
        self._temperature: tuple[float, float] | None = None

    def request(self) -> bytes | None:
        """The text the instrument file says to send, if any."""
        return self._ask

    def reset(self) -> None:
        """Forget the cut sentence and the temperature."""
        self._framer.reset()
        self._temperature = None

    def feed(self, chunk: Chunk) -> Readings:
        """The readings of the sentences this chunk completed."""
        heights: list[float] = []
        temperatures: list[float | None] = []
        for line in self._framer.feed(chunk.data):
            for fields in self._sentences(line):
                height = self._height(fields, chunk.t_s)
                if height is not None:
                    heights.append(height)
                    temperatures.append(self._known_temperature(chunk.t_s))
        if self._framer.overlong:
            self.rejects[Reject.LENGTH] += self._framer.overlong
            self._framer.overlong = 0
        return Readings(chunk.t_s, heights, temperatures_c=temperatures) if heights else NONE

    def _sentences(self, line: bytes) -> Iterator[list[str]]:
        """The fields of the sentences on a line that count; a piece in front of another was cut."""
        found = sentences_of(line)
        if not found:
            self.rejects[Reject.NOT_MINE] += 1
        for place, (body, told) in enumerate(found):
            optional = told is None and self._table.checksum == "optional"
            if optional and place < len(found) - 1:
                self.rejects[Reject.LENGTH] += 1
            elif not optional and not checksum_holds(body, told):
                self.rejects[Reject.CHECKSUM] += 1
            elif not body.isascii() or not body.decode("ascii").isprintable():
                self.rejects[Reject.NOT_MINE] += 1
            else:
                yield body.decode("ascii").split(",")

    def _height(self, fields: list[str], t_s: float) -> float | None:
        head, kind = fields[0], fields[0][2:]
        if kind == "MTW" and len(fields) > 2 and fields[2] == "C":
            self._warm(fields[1], t_s)
            return None
        if kind == "XDR":
            self._xdr_temperature(fields, t_s)
        if kind != self._table.sentence or (self._table.talker and head[:2] != self._table.talker):
            self.rejects[Reject.NOT_MINE] += 1
            return None
        match kind:
            case "GGA":
                shown = self._gga(fields)
            case "DPT":
                shown = (fields[1], "m") if len(fields) > 1 else None
            case "DBT":
                shown = self._dbt(fields)
            case _:
                shown = self._xdr(fields)
        return None if shown is None else self._metres(*shown)

    def _gga(self, fields: list[str]) -> tuple[str, str] | None:
        if len(fields) < 11:
            self.rejects[Reject.LENGTH] += 1
            return None
        if fields[6] in ("", "0"):
            self.rejects[Reject.STALE] += 1
            return None
        return fields[9], XDR_UNITS.get(fields[10], "m")

    def _dbt(self, fields: list[str]) -> tuple[str, str] | None:
        by_unit = {fields[i + 1]: fields[i] for i in range(1, len(fields) - 1, 2) if fields[i]}
        for letter, unit in (("M", "m"), ("f", "ft"), ("F", "fathom")):
            if letter in by_unit:
                return by_unit[letter], unit
        self.rejects[Reject.STALE] += 1
        return None

    def _xdr(self, fields: list[str]) -> tuple[str, str] | None:
        wanted = self._table.transducer
        for kind, value, unit, name in zip(*(fields[i::4] for i in range(1, 5)), strict=False):
            mine = wanted in (name, kind) if wanted else kind in HEIGHT_TYPES and unit in XDR_UNITS
            if mine:
                return value, XDR_UNITS.get(unit, unit)
        self.rejects[Reject.NOT_MINE] += 1
        return None

    def _xdr_temperature(self, fields: list[str], t_s: float) -> None:
        for kind, value, unit in zip(*(fields[i::4] for i in range(1, 4)), strict=False):
            if kind == "C" and unit == "C":
                self._warm(value, t_s)
                return

    def _warm(self, text: str, t_s: float) -> None:
        value = number(text)
        if math.isfinite(value):
            self._temperature = (t_s, value)

    def _known_temperature(self, t_s: float) -> float | None:
        if self._temperature is None or t_s - self._temperature[0] > TEMPERATURE_KEPT_S:
            return None
        return self._temperature[1]

    def _metres(self, text: str, unit: str) -> float | None:
        if not text:
            self.rejects[Reject.STALE] += 1
            return None
        return self.judged(self._scale.height(number(text), unit), self._scale)
