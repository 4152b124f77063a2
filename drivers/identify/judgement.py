"""How sure a proposal is: what is written on the lines, how the number behaves, and whether the proposal reads them."""

import math
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from drivers.decoders.lines import LinesDecoder
from drivers.identify.fields import Field, stable_words
from drivers.identify.layout import flag_of, pattern_of
from drivers.identify.proposal import Candidate
from drivers.identify.tokens import Token, tells_height
from drivers.identify.words import Role, unit_role
from drivers.identify.writing import Writing
from drivers.reading import Chunk
from drivers.units import unit_of

FEW = 3
BY_UNIT = {3: 0.95, 2: 0.7, 1: 0.4}
"""How sure a stream with its unit written can be, by the number of lines heard."""
AIR_PA = (85_000.0, 107_000.0)
"""What the air itself weighs on: no gauge pressure of a hose stays in there."""
AIR = "this is the pressure of the air, which the weather moves by metres"
FARTHEST_M = 100.0
"""Beyond this an M behind a number is a state and no unit."""
CELSIUS = {"c", "℃", "°c", "° c", "celsius", "degc", "°", ""}


@dataclass(frozen=True)
class Lines:
    """Lines of one shape and what is made of them; `others` are those of other shapes."""

    rows: Sequence[Sequence[Token]]
    fields: Sequence[Field]
    writing: Writing
    end: str
    others: Sequence[Sequence[Token]]

    @cached_property
    def words(self) -> list[str]:
        """Lines without a digit: over-range and error words."""
        texts = ("".join(t.text for t in row).strip() for row in self.others)
        return sorted({text for text in texts if text and not re.search(r"\d", text)})[:8]

    @cached_property
    def share(self) -> float:
        """How many of the lines that could tell a height are of this shape."""
        mine = tells_height(self.rows[0])
        rivals = [r for r in self.others if any(t.is_number for t in r) and (tells_height(r) or not mine)]
        return len(self.rows) / (len(self.rows) + len(rivals))

    def candidate(self, field: Field, doubts: Sequence[str]) -> Candidate:
        """The instrument file that reads this field as the height."""
        example = "".join(t.text for t in self.rows[0]).strip()[:60]
        reasons = [f"{len(self.rows)} lines of one shape, such as {example}"]
        unit, confidence, why = self._unit(field)
        tables = self._tables(field, unit)
        caps = [(0.45, doubt) for doubt in doubts] + self._misgivings(field, unit)
        if not self._reads(field, tables):
            caps.append((0.2, "no pattern was found that reads these lines as they stand"))
        confidence = min([confidence, *(cap for cap, _ in caps)])
        return Candidate(round(confidence, 2), (*reasons, why, *(why for _, why in caps)), tables)

    def _unit(self, field: Field) -> tuple[str, float, str]:
        """The unit, how sure it is, and why."""
        sure = BY_UNIT.get(len(self.rows), BY_UNIT[FEW]) if self.rows else 0.0
        if field.compound:
            return "in", sure, "feet and inches, or fractions of an inch, are written"
        far = field.unit == "M" and max(map(abs, field.values)) > FARTHEST_M
        if field.unit and not far and unit_role(field.unit) is Role.HEIGHT and unit_of(field.unit) is not None:
            return field.unit, sure, f"unit {field.unit} is written"
        hints = {t.text for row in self.others for t in row if t.kind == "word" and unit_role(t.text) is Role.HEIGHT}
        if len(hints) == 1 and len(self.others) < len(self.rows):
            return (unit := hints.pop()), 0.45, f"the unit {unit} stands on another line"
        unit = _guessed(field)
        return unit, 0.4, f"no unit is written; {unit} is a guess by the size of the numbers"

    def _misgivings(self, field: Field, unit: str) -> list[tuple[float, str]]:
        """What lowers the confidence: to how much, and why."""
        found = []
        kind = unit_of(unit)
        if len(self.rows) < FEW:
            found.append((BY_UNIT[len(self.rows)], f"only {len(self.rows)} lines were heard"))
        if self.share < 0.7:
            found.append((0.45, f"only {self.share:.0%} of the lines are of this shape"))
        if unit == "M" and field.decimals < 2:
            found.append((0.4, "M may be a unit or a state of the instrument"))
        if kind == ("m", 0.001) and "," in "".join(t.text for t in self._tokens(field)) and field.decimals > 2:
            found.append((0.45, "the comma may stand between thousands"))
        if kind == ("m", 0.001) and self._three_places(field):
            found.append((0.45, "the point may stand between thousands"))
        if kind is not None and kind[0] == "Pa" and _all_within(field, kind[1]):
            found.append((0.3, AIR))
        counts = field.counts and (field.decimals <= 0 or not field.moves) and len(self.rows) > FEW
        if field.role is Role.OTHER or counts:
            found.append((0.2, "the number counts or is no height"))
        if field.sign_at not in (None, len(self.rows[0]) - 1) and not any(v > 0 for v in field.values):
            found.append((0.45, "the minus apart from the number may be no sign"))
        if not _smooth(field):
            found.append((0.45, "the number jumps about, as a height would not"))
        return found

    def _tokens(self, field: Field) -> list[Token]:
        return [row[field.at] for row in self.rows]

    def _three_places(self, field: Field) -> bool:
        """Whether every number is written as `1.234`, which is 1234 in some countries."""
        return not self.writing.thousands and all(re.fullmatch(r"[+-]?\s*[1-9]\d{0,2}\.\d{3}", t) for t in field.texts)

    def _tables(self, field: Field, unit: str) -> dict[str, Any]:
        pattern = pattern_of(self.rows, self.writing, self._groups(field, unit))
        decoder: dict[str, Any] = {"kind": "lines", "pattern": pattern}
        if self.end:
            decoder["delimiter"] = self.end
        kind = self.rows[0][field.at].kind
        if kind == "hex":
            decoder |= {"number": "hex"} | _width(field)
        elif kind == "length":
            decoder["number"] = "feet-inches"
        elif self.writing.thousands:
            decoder["thousands"] = self.writing.thousands
        if self.words:
            decoder["refuse"] = self.words
        if (flag := flag_of(self.rows)) is not None:
            decoder["stable"] = stable_words([row[flag].text for row in self.rows]) or []
        height = {"unit": unit} | ({} if kind == "hex" else {"resolution": f"{field.step:g} {unit}"})
        return {"instrument": {"name": "Heard on the port, ASCII lines"}, "decoder": decoder, "height": height}

    def _groups(self, field: Field, unit: str) -> dict[int, str]:
        """What stands where on a line, by the names an instrument file has for it."""
        groups = {field.at: "height"}
        if field.sign_at is not None:
            groups[field.sign_at] = "sign"
        if field.unit_at is not None and field.unit == unit:
            groups[field.unit_at] = "unit"
        for role, units in ((Role.TEMPERATURE, CELSIUS), (Role.BATTERY, {"%", ""})):
            mine = [f for f in self.fields if f.role is role and f.sign_at is None]
            if len(mine) == 1 and mine[0].unit.casefold() in units and not self.writing.thousands:
                groups[mine[0].at] = str(role)
        flag = flag_of(self.rows)
        if flag is not None and flag not in groups:
            groups[flag] = "stable"
        return groups

    def _reads(self, field: Field, tables: dict[str, Any]) -> bool:
        """Whether the proposal reads from these lines what was meant."""
        instrument = Candidate(0.0, (), tables).instrument
        if instrument is None:
            return False
        texts = ["".join(t.text for t in row) for row in self.rows]
        end = self.end or "\r\n"
        data = "".join(text + end for text in [texts[0], *texts])
        decoder = LinesDecoder(instrument)
        shown = [*decoder.feed(Chunk(0.0, data.encode())), *decoder.finish(0.0)][-len(texts) :]
        at = field.unit_at if "<unit>" in tables["decoder"]["pattern"] else None
        units = [row[at].text if at is not None else "" for row in self.rows]
        values = [_signed(v, tables) for v in field.values]
        meant = [instrument.scale.height(v, u) for v, u in zip(values, units, strict=True)]
        return len(shown) == len(meant) and all(
            m is not None and math.isclose(r.height_m, m, abs_tol=1e-9) for r, m in zip(shown, meant, strict=True)
        )


def _signed(value: float, tables: dict[str, Any]) -> float:
    bits = tables["decoder"].get("bits")
    return value - (1 << bits) if bits and value >= 1 << (bits - 1) else value


def _width(field: Field) -> dict[str, Any]:
    digits = len(field.texts[0].lower().removeprefix("0x").rstrip("h"))
    bits = 4 * digits
    half = 2 ** (bits - 1)
    return {"bits": bits} if bits in (8, 16, 24, 32) and any(v >= half for v in field.values) else {}


def _guessed(field: Field) -> str:
    size = max(abs(v) for v in field.values)
    if field.decimals <= 0:
        return "mm"
    if field.decimals >= 3:
        return "m" if size < 100 else "mm"
    return "in" if size < 500 else "mm"


def _all_within(field: Field, pascals: float) -> bool:
    return all(AIR_PA[0] < v * pascals < AIR_PA[1] for v in field.values)


def _smooth(field: Field) -> bool:
    if len(field.values) < 8 or field.span == 0:
        return True
    steps = [abs(b - a) for a, b in zip(field.values, field.values[1:], strict=False)]
    return statistics.median(steps) < 0.2 * field.span or field.span <= 30 * field.step
