"""One reading a line of text, described by a pattern or by columns in the instrument file."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from drivers.checks import CHECKS
from drivers.decoders import BaseDecoder
from drivers.decoders.numbers import MINUS, PLAIN_NUMBER, ReadNumber, feet_inches, hex_number, number
from drivers.decoders.pattern import GROUPS, compile_search, digit_blind, groups_of, longest_of, of_chunk
from drivers.framing import LineFramer
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reject
from drivers.readings import NONE, Readings
from drivers.tables import CheckTable, LinesTable

PLAIN = b"-+.0123456789eE"
"""Of these alone Python's own reading of a number takes what `number` takes, or refuses it."""
ALL_DIGITS = bytes.maketrans(b"123456789", b"000000000")
FEW = 8
"""Lines that are not worth reading at once."""
SLOWEST = 3
"""After so many lines that took too long the pattern is given up."""


def check_holds(check: CheckTable, line: bytes) -> bool:
    """Whether a line carries the right check."""
    start, end = check.from_, check.to
    if isinstance(start, str):
        at = line.find(start.encode())
        if at < 0:
            return False
        start = at + len(start.encode())
    after = end
    if isinstance(end, str):
        mark = end.encode()
        end = line.rfind(mark)
        if end < start:
            return False
        after = end + len(mark)
    assert isinstance(end, int)
    assert isinstance(after, int)
    compute, size, low_first = CHECKS[check.kind]
    expected, told = compute(line[start:end]), line[after:] if after != 0 else b""
    if check.written == "binary":
        return told[:size] == expected.to_bytes(size, "little" if low_first else "big")
    digits = re.match(rb"\s*([0-9A-Fa-f]+)", told)
    if digits is None:
        return False
    try:
        return int(digits[1], 16 if check.written == "hex" else 10) == expected
    except ValueError:
        return False


def reader_of(table: LinesTable) -> ReadNumber:
    """What reads the height as the instrument file says it is written."""
    match table.number:
        case "hex":
            return hex_number(table.bits)
        case "feet-inches":
            return feet_inches
        case _ if table.thousands:
            return partial(number, thousands=table.thousands)
        case _:
            return number


@dataclass(frozen=True, slots=True)
class Shape:
    """Lines that differ in nothing but digits, where they have their height, and their unit; `end` 0: not known."""

    text: bytes = b""
    start: int = 0
    end: int = 0
    unit: str = ""


def longest_line(block: bytes) -> int:
    """Bytes of the longest of lines that each end with LF; lines of one length cost nothing to measure."""
    width, count = block.find(b"\n") + 1, block.count(b"\n")
    if width * count == len(block) and block[width - 1 :: width] == b"\n" * count:
        return width - 1
    return max(map(len, block.split(b"\n")))


class LinesDecoder(BaseDecoder):
    """Lines to readings.

    The first line after a gap may have lost its beginning, so it counts only if the next one is as long.
    """

    def __init__(self, instrument: InstrumentFile) -> None:
        super().__init__()
        table = instrument.decoder
        assert isinstance(table, LinesTable)
        self._table = table
        self._scale = instrument.scale
        self._straight = self._scale.air is None
        self._ask = instrument.ask.send.encode() if instrument.ask is not None and instrument.ask.send else None
        self._refuse = [word.encode() for word in table.refuse]
        self._stable = {word.casefold() for word in table.stable}
        self._number = reader_of(table)
        self._framer = LineFramer(table.delimiter.encode())
        self._search = compile_search(table.pattern) if table.pattern else None
        self._groups = groups_of(table.pattern) if table.pattern else tuple(g for g in GROUPS if g in table.columns)
        self._held: bytes | None = None
        self._unit = ""
        self._line = self._scale.line()
        self._slow = 0
        alike = self._straight and set(self._groups) <= {"height", "unit"} and not table.delimiter
        quick = of_chunk(table.pattern) if alike and table.pattern and table.check is None else None
        whole = quick is not None and quick.groups == len(self._groups)
        self._columns = quick.findall if quick is not None and whole else None
        self._longest = longest_of(table.pattern) if quick is not None else 0
        self._height_first = quick is not None and quick.groupindex["height"] == 1
        self._blind = quick if whole and digit_blind(table.pattern) and self._number is number else None
        self._shape = Shape()

    def request(self) -> bytes | None:
        """The text the instrument file says to send."""
        return self._ask

    def reset(self) -> None:
        """Forget the cut line, and the unit the device last named."""
        self._framer.reset()
        self._held = None
        self._unit = ""
        self._line = self._scale.line()

    def feed(self, chunk: Chunk) -> Readings:
        """The readings of the lines this chunk completed."""
        first = self._framer.first and self._ask is None
        block = self._framer.block(chunk.data)
        if self._columns is not None and not first and self._held is None and block:
            heights = self._of_shape(block)
            if heights is None:
                heights = self._alike(block)
            if heights is not None:
                return Readings(chunk.t_s, heights)
        lines = self._framer.lines(block)
        if self._framer.overlong:
            self.rejects[Reject.LENGTH] += self._framer.overlong
            self._framer.overlong = 0
        if not lines:
            return NONE
        if first and self._framer.first:
            self._framer.first = False
            self._held = lines.pop(0)
        if self._held is not None and lines:
            if len(self._held) == len(lines[0]):
                lines.insert(0, self._held)
            else:
                self.rejects[Reject.LENGTH] += 1
            self._held = None
        return self._read(chunk.t_s, lines)

    def finish(self, t_s: float) -> Readings:
        """A capture has ended: a line that stood alone in it counts."""
        held, self._held = self._held, None
        return NONE if held is None else self._read(t_s, [held])

    def _read(self, t_s: float, lines: list[bytes]) -> Readings:
        if self._columns is None or not lines:
            return self._read_any(t_s, lines)
        heights = self._heights(lines)
        return Readings(t_s, heights) if heights else NONE

    def _heights(self, lines: list[bytes]) -> list[float]:
        """All lines at once where they are alike; else by halves, so that one odd line costs little."""
        if len(lines) <= FEW:
            return list(self._read_any(0.0, lines).heights_m)
        heights = self._alike(b"\n".join(lines) + b"\n")
        if heights is not None:
            return heights
        half = len(lines) // 2
        return self._heights(lines[:half]) + self._heights(lines[half:])

    def _of_shape(self, block: bytes) -> list[float] | None:
        """Heights of lines that differ in nothing but their digits, cut out where the first has its own; else None."""
        width = block.find(b"\n") + 1
        shape = block.translate(ALL_DIGITS)
        if self._blind is None or shape != shape[:width] * (len(block) // width):
            return None
        if shape[:width] != self._shape.text:
            self._shape = self._shape_of(shape[:width], block[: width - 1])
        known = self._shape
        if known.end == 0 or known.unit != self._unit or self._line is None:
            return None
        if any(word in block for word in self._refuse):
            return None
        slope, offset = self._line
        places = zip(range(known.start, len(block), width), range(known.end, len(block), width), strict=True)
        heights = [slope * float(block[a:b]) + offset for a, b in places]
        return heights if self._scale.sane(min(heights)) and self._scale.sane(max(heights)) else None

    def _shape_of(self, shape: bytes, line: bytes) -> Shape:
        """Where lines of this shape have their height, if they can be cut without a look at each."""
        assert self._blind is not None
        found = self._blind.search(line.decode("ascii")) if line.isascii() and len(line) <= self._longest else None
        if found is None or PLAIN_NUMBER.fullmatch(found["height"] or "") is None:
            return Shape(shape)
        unit = (found["unit"] or "") if len(self._groups) == 2 else ""
        if re.search(r"\d", unit):
            return Shape(shape)
        return Shape(shape, *found.span("height"), unit)

    def _alike(self, block: bytes) -> list[float] | None:
        """Heights of lines that all match in the unit last named and are all sane; None if any is not."""
        assert self._columns is not None
        if self._line is None or not block.isascii() or longest_line(block) > self._longest:
            return None
        for word in self._refuse:
            if word in block:
                return None
        found = self._columns(block.decode("ascii"))
        if len(found) != block.count(b"\n"):
            return None
        numbers: Sequence[str] = found
        if len(self._groups) == 2:
            both = tuple(zip(*found, strict=True))
            numbers, units = both if self._height_first else both[::-1]
            if units.count(self._unit) != len(units):
                return None
        elif self._unit:
            return None
        text, (slope, offset) = "".join(numbers).encode(), self._line
        plain = self._number is number and not text.translate(None, PLAIN)
        try:
            heights = [slope * value + offset for value in map(float if plain else self._number, numbers)]
        except ValueError:
            return None
        numeric = (plain and slope != 0.0) or not math.isnan(sum(heights))
        sane = numeric and self._scale.sane(min(heights)) and self._scale.sane(max(heights))
        return heights if sane else None

    def _read_any(self, t_s: float, lines: list[bytes]) -> Readings:
        rows: list[tuple[float, float | None, float | None, bool | None]] = []
        heights: list[float] = []
        rich = len(self._groups) > 1 and not set(self._groups) <= {"height", "sign", "unit"}
        for line in lines:
            text = self._text(line)
            if text is None:
                continue
            fields = self._fields(text)
            if fields is None:
                self.rejects[Reject.NOT_MINE] += 1
                continue
            height = self._height(fields)
            if height is None:
                continue
            heights.append(height)
            if rich:
                rows.append((height, *self._rest(fields)))
        if not heights:
            return NONE
        if not rich:
            return Readings(t_s, heights)
        _, temperatures, batteries, stables = zip(*rows, strict=True)
        return Readings(t_s, heights, temperatures_c=temperatures, batteries=batteries, stables=stables)

    def _text(self, line: bytes) -> str | None:
        if self._refuse and any(word in line for word in self._refuse):
            self.rejects[Reject.REFUSED] += 1
            return None
        if self._table.check is not None and not check_holds(self._table.check, line):
            self.rejects[Reject.CHECKSUM] += 1
            return None
        try:
            return line.decode()
        except UnicodeDecodeError:
            return line.decode("latin-1")

    def _fields(self, text: str) -> dict[str, str] | None:
        if self._search is None:
            cut = {name: text[a:b].strip() for name, (a, b) in self._table.columns.items()}
            return cut if cut["height"] else None
        if self._slow >= SLOWEST:
            return None
        try:
            found = self._search(text)
        except TimeoutError:
            self._slow += 1
            self.remark("the pattern of the instrument file takes too long; make it simpler")
            return None
        if found is None:
            return None
        return {name: found[name] or "" for name in self._groups}

    def _height(self, fields: dict[str, str]) -> float | None:
        value = self._number(fields["height"])
        if (sign := fields.get("sign", "").strip()) and sign in MINUS:
            value = -value
        unit = fields.get("unit", "")
        if unit != self._unit:
            self._unit, self._line = unit, self._scale.line(unit)
        if self._line is None:
            self.rejects[Reject.UNIT] += 1
            return None
        height = self._line[0] * value + self._line[1] if self._straight else self._scale.height(value, unit)
        if height is None or math.isnan(height):
            self.rejects[Reject.NOT_A_NUMBER] += 1
            return None
        if not self._scale.sane(height):
            self.rejects[Reject.RANGE] += 1
            return None
        return height

    def _rest(self, fields: dict[str, str]) -> tuple[float | None, float | None, bool | None]:
        def optional(name: str) -> float | None:
            value = number(fields.get(name, ""))
            return value if math.isfinite(value) else None

        flag = fields.get("stable", "").strip().casefold()
        return optional("temperature"), optional("battery"), (flag in self._stable) if flag else None
