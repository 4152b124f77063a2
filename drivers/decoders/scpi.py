"""SCPI over IEEE 488.2: a question, an answer in a line; several answers on one line are joined with `;`."""

import math
import re

from drivers.decoders import BaseDecoder
from drivers.framing import LineFramer
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reject
from drivers.readings import NONE, Readings
from drivers.tables import ScpiTable

VALUE = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z°µ\"'][\w/]*)?\s*", re.ASCII)
NOT_A_NUMBER = 9.91e37
INFINITY = 9.9e37
"""SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5: NAN is 9.91E37, infinities are 9.9E37 with their sign."""
WORDS = {"NAN", "INF", "NINF", "+INF", "-INF"}
ERROR = re.compile(r"\s*([+-]?\d+)\s*,\s*\"(.*)\"\s*")
QUIET = 3
"""After so many questions without a usable answer the instrument's error queue is read."""


def answers(line: str) -> list[str]:
    """The answers joined on one line; a `;` within quotes joins nothing."""
    parts, quoted, start = [], False, 0
    for at, char in enumerate(line):
        if char == '"':
            quoted = not quoted
        elif char == ";" and not quoted:
            parts.append(line[start:at])
            start = at + 1
    return [*parts, line[start:]]


class ScpiDecoder(BaseDecoder):
    """Answers to readings; identity and error queue become remarks.

    The first line after a gap may be the end of an answer, so it never counts; what is asked first is the identity.
    """

    def __init__(self, instrument: InstrumentFile) -> None:
        super().__init__()
        assert isinstance(instrument.decoder, ScpiTable)
        self._table = instrument.decoder
        self._scale = instrument.scale
        self._framer = LineFramer()
        self._identified = False
        self._unanswered = 0
        self._draining = False
        self._whole = False

    def reset(self) -> None:
        """Forget the cut line; ask for the identity again."""
        self._framer.reset()
        self._identified = self._draining = self._whole = False
        self._unanswered = 0

    def request(self) -> bytes | None:
        """The next question: the identity once, the reading, and the error queue where answers fail."""
        if not self._identified:
            self._identified = True
            return f"*IDN?{self._table.terminator}".encode()
        if self._draining or self._unanswered >= QUIET:
            self._draining, self._unanswered = False, 0
            return f"SYST:ERR?{self._table.terminator}".encode()
        self._unanswered += 1
        return f"{self._table.query}{self._table.terminator}".encode()

    def feed(self, chunk: Chunk) -> Readings:
        """The readings of the answers this chunk completed."""
        heights: list[float] = []
        temperatures: list[float | None] = []
        for line in self._framer.feed(chunk.data):
            parts = answers(line.decode("utf-8", "replace"))
            cut, self._whole = not self._whole, True
            if self._told(parts):
                continue
            if cut:
                self.rejects[Reject.LENGTH] += 1
                continue
            height = self._height(parts)
            if height is not None:
                self._unanswered = 0
                heights.append(height)
                temperatures.append(self._temperature(parts))
        if self._framer.overlong:
            self.rejects[Reject.LENGTH] += self._framer.overlong
            self._framer.overlong = 0
        return Readings(chunk.t_s, heights, temperatures_c=temperatures) if heights else NONE

    def _told(self, parts: list[str]) -> bool:
        """Take what is no reading: an entry of the error queue, or the identity."""
        error = ERROR.fullmatch(parts[0])
        if error is not None:
            if int(error[1]) != 0:
                self._draining = True
                self.remark(f"error {error[1]}: {error[2]}"[:200])
            return True
        if len(parts) == 1 and parts[0].count(",") == 3 and VALUE.fullmatch(parts[0].split(",")[0]) is None:
            self.remark(parts[0].strip()[:200])
            return True
        return False

    def _height(self, parts: list[str]) -> float | None:
        if self._table.field >= len(parts):
            self.rejects[Reject.LENGTH] += 1
            return None
        text = parts[self._table.field]
        read = VALUE.fullmatch(text)
        if read is None:
            known = text.strip().strip('"').upper() in WORDS
            self.rejects[Reject.NOT_A_NUMBER if known else Reject.NOT_MINE] += 1
            return None
        value = float(read[1])
        if not math.isfinite(value) or abs(value) >= INFINITY:
            self.rejects[Reject.NOT_A_NUMBER] += 1
            return None
        return self.judged(self._scale.height(value, read[2] or ""), self._scale)

    def _temperature(self, parts: list[str]) -> float | None:
        at = self._table.temperature
        read = VALUE.fullmatch(parts[at]) if at is not None and at < len(parts) else None
        value = float(read[1]) if read is not None else math.inf
        return value if abs(value) < INFINITY else None
