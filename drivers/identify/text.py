"""Streams of text lines: which number is the height, in what unit, and the instrument file that reads it."""

import math
import re
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from drivers.identify.fields import Field, fields_of, same_quantity, stable_words
from drivers.identify.proposal import Candidate
from drivers.identify.tokens import (
    Comma,
    Token,
    comma_of,
    hex_columns_of,
    of_one_shape,
)
from drivers.identify.words import Role, label_role, unit_role
from drivers.units import unit_of

MOST_LINES = 400
ENOUGH = 0.8
LAST_COLUMN = re.compile(r"[\s,;*~|]+[0-9A-Za-z]+\s*$")
"""What may be a check or a state of changing shape: without it the lines may be alike."""
FEW = 3
OTHER_ENDS = (b"\x03", b"\x00", b"\x02", b";", b"=", b"#", b"$", b"!", b"@", b"|", b" ", b",", b"\t")
PRINTABLE = 0.9
BROKEN = "\ufffd"


def printable_share(data: bytes) -> float:
    """How much of some bytes could be text."""
    text = sum(32 <= b < 127 or b in b"\r\n\t\x02\x03" for b in data)
    wide = [c for c in data.decode(errors="replace") if ord(c) > 127]
    if wide.count(BROKEN) <= 2:
        high = sum(len(c.encode()) for c in wide if c.isalpha() or c in "°²³−")
    else:
        high = sum(b in (0xB0, 0xB5, 0xB2, 0xB3) or b >= 0xC0 for b in data) if text > 0.8 * len(data) else 0
    return (text + high) / len(data) if data else 0.0


def lines_of(data: bytes) -> tuple[list[str], str]:
    """The whole lines of a stream and what ends them (empty for CR, LF, CRLF); the cut ends are left out."""
    if re.search(rb"[\r\n]", data):
        return _texts(re.split(rb"[\r\n]+", data)), ""
    for end in OTHER_ENDS:
        pieces = data.split(end)
        whole = [p for p in pieces[1:-1] if p]
        if len(whole) >= FEW and all(re.search(rb"\d", p) for p in whole) and max(map(len, whole)) < 200:
            return _texts(pieces), end.decode()
    return [], ""


def _texts(pieces: Sequence[bytes]) -> list[str]:
    inner = pieces[1:-1]
    if pieces and inner and len(pieces[0]) == len(inner[0]):
        inner = pieces[:-1]
    kept = [p for p in inner if p][-MOST_LINES:]
    return [_decoded(p) for p in kept]


def _decoded(piece: bytes) -> str:
    try:
        return piece.decode()
    except UnicodeDecodeError:
        return piece.decode("latin-1")


def recognise_text(data: bytes) -> list[Candidate]:
    """What a stream of text may be, best first; empty if it is no text."""
    if printable_share(data) < PRINTABLE:
        return []
    lines, end = lines_of(data)
    if not lines:
        return []
    comma, sure = comma_of(lines)
    rows, others = of_one_shape(lines, comma, hex_columns_of(lines))
    if len(rows) < ENOUGH * len(lines):
        shorter = [LAST_COLUMN.sub("", line) for line in lines]
        fewer, left = of_one_shape(shorter, comma, hex_columns_of(shorter))
        if len(fewer) >= ENOUGH * len(lines):
            rows, others = fewer, left
    if not rows:
        return []
    rows, more = _one_kind(rows)
    fields = fields_of(rows)
    heights, doubts = _heights(fields)
    if not sure:
        doubts = [*doubts, "a comma may be a decimal comma or part two numbers"]
    kept = [line for line in others if not re.search(r"\d", line)]
    context = _Lines(rows, fields, comma, end, others, kept, len(rows) / max(1, len(lines) - len(kept) - more))
    return [context.candidate(field, doubts) for field in heights[:4]]


def _one_kind(rows: list[list[Token]]) -> tuple[list[list[Token]], int]:
    """Of lines that take turns (`H 1.23`, `T 21.5`) those with the height, and how many others there are."""
    for i, token in enumerate(rows[0]):
        if token.kind != "word":
            continue
        words = Counter(row[i].text for row in rows)
        if not 2 <= len(words) <= 8:
            continue
        roles = {w: _word_role(w) for w in words}
        mine = [w for w, role in roles.items() if role is Role.HEIGHT]
        others = [w for w, role in roles.items() if role in (Role.TEMPERATURE, Role.BATTERY, Role.OTHER)]
        if mine and others and len(mine) + len(others) == len(words):
            kept = [row for row in rows if row[i].text in mine]
            return kept, len(rows) - len(kept)
    return rows, 0


def _word_role(word: str) -> Role:
    role = unit_role(word)
    return role if role is not Role.UNKNOWN else label_role(word)


def _heights(fields: Sequence[Field]) -> tuple[list[Field], list[str]]:
    """The fields that may be the height, likeliest first, and what is doubtful about that."""
    known = [f for f in fields if f.role is Role.HEIGHT]
    named = [f for f in known if f.unit or label_role(f.label) is Role.HEIGHT]
    if len(named) == 1:
        return named, []
    if len(named) > 1:
        labelled = [f for f in named if label_role(f.label) is Role.HEIGHT]
        if len(labelled) == 1:
            return [*labelled, *(f for f in named if f is not labelled[0])], []
        if all(same_quantity(named[0], other) for other in named[1:]):
            return named, []
        movers = [f for f in named if f.moves]
        doubt = "several numbers could be the height"
        return sorted(named, key=lambda f: (f not in movers, -f.span)), [doubt]
    unknown = [f for f in fields if f.role is Role.UNKNOWN and not (f.counts and len(fields) > 1)]
    if len(unknown) <= 1:
        return (unknown or [f for f in fields if f.role is Role.UNKNOWN][:1]), []
    changing = [f for f in unknown if len(set(f.values)) > 1] or unknown
    if len(changing) == 1:
        return changing, []
    movers = [f for f in changing if f.moves]
    if len(movers) == 1:
        return [movers[0], *(f for f in changing if f is not movers[0])], ["the one number that moves is taken"]
    if all(same_quantity(changing[0], other) for other in changing[1:]):
        return changing, ["several numbers move together"]
    return changing, ["several numbers could be the height; raise and lower the probe while listening"]


@dataclass(frozen=True, slots=True)
class _Lines:
    """Lines of one shape, and what is made of them.

    `others` are the lines of other shapes, `words` those among them without a digit, `share` how many are of this one.
    """

    rows: list[list[Token]]
    fields: list[Field]
    comma: Comma
    end: str
    others: list[str]
    words: list[str]
    share: float

    def candidate(self, field: Field, doubts: Sequence[str]) -> Candidate:
        """The instrument file that reads this field as the height."""
        unit, written = self._unit(field)
        reasons = [f"{len(self.rows)} lines of one shape, such as {self._example()}"]
        confidence = 0.95
        if unit is None:
            unit, confidence = self._guessed(field), 0.4
            reasons.append(f"no unit is written; {unit} is a guess by the size of the numbers")
        elif not written:
            confidence = 0.45
            reasons.append(f"the unit {unit} stands on another line")
        else:
            reasons.append(f"unit {unit} is written")
        confidence, more = self._weighed(field, unit, confidence)
        if doubts:
            confidence = min(confidence, 0.45)
        return Candidate(round(confidence, 2), (*reasons, *more, *doubts), self._tables(field, unit, written=written))

    def _example(self) -> str:
        return "".join(t.text for t in self.rows[0]).strip()[:60]

    def _unit(self, field: Field) -> tuple[str | None, bool]:
        if field.unit and unit_of(field.unit) is not None:
            return field.unit, True
        hints = {w for line in self.others for w in re.findall(r"[^\W\d_]+", line) if unit_role(w) is Role.HEIGHT}
        if len(hints) == 1 and len(self.others) < len(self.rows):
            return hints.pop(), False
        return None, False

    def _guessed(self, field: Field) -> str:
        size = max(abs(v) for v in field.values)
        if field.decimals == 0:
            return "mm"
        if field.decimals >= 3:
            return "m" if size < 100 else "mm"
        return "in" if size < 500 else "mm"

    def _weighed(self, field: Field, unit: str, confidence: float) -> tuple[float, list[str]]:
        reasons = []
        if len(self.rows) < FEW:
            confidence = min(confidence, 0.3)
            reasons.append(f"only {len(self.rows)} lines were heard")
        if self.share < 0.8:
            confidence *= max(self.share, 0.1)
            reasons.append(f"only {self.share:.0%} of the lines are of this shape")
        if unit == "M" and (field.decimals < 2 or max(map(abs, field.values)) > 100):
            confidence = min(confidence, 0.4)
            reasons.append("M may be a unit or a state of the instrument")
        if self.rows[0][field.at].kind == "hex":
            reasons.append("hexadecimal numbers")
        if field.role is Role.OTHER or (field.counts and not field.moves and not field.unit):
            confidence = min(confidence, 0.2)
            reasons.append("the number counts or is no height")
        if not self._smooth(field):
            confidence = min(confidence, 0.45)
            reasons.append("the number jumps about, as a height would not")
        if re.match(r"\s*['\"′″]|\s*(?:ft|in)\b", self._behind(field)) and self._compound(field):
            confidence = min(confidence, 0.2)
            reasons.append("feet and inches stand in one height; no pattern reads both")
        return confidence, reasons

    def _behind(self, field: Field) -> str:
        return "".join(t.text for t in self.rows[0][field.at + 1 : field.at + 4])

    def _compound(self, field: Field) -> bool:
        units = [f.unit.casefold() for f in self.fields if f.unit]
        feet = any(u in ("'", "ft", "feet", "foot") for u in units)
        inches = any(u in ('"', "''", "in", "inch", "inches") for u in units)
        return feet and inches and len(units) > 1

    def _smooth(self, field: Field) -> bool:
        if len(field.values) < 8 or field.span == 0:
            return True
        steps = [abs(b - a) for a, b in zip(field.values, field.values[1:], strict=False)]
        return statistics.median(steps) < 0.2 * field.span or field.span <= 30 * 10.0**-field.decimals

    def _tables(self, field: Field, unit: str, *, written: bool) -> dict[str, Any]:
        decoder: dict[str, Any] = {"kind": "lines", "pattern": self._pattern(field, written=written)}
        if self.end:
            decoder["delimiter"] = self.end
        if self.rows[0][field.at].kind == "hex":
            decoder |= {"number": "hex"} | self._width(field)
        if refused := sorted({w.strip() for w in self.words if w.strip()})[:8]:
            decoder["refuse"] = refused
        if (rest := self._flag()) is not None:
            decoder["stable"] = stable_words([row[rest].text for row in self.rows]) or []
        step = 10.0**-field.decimals
        tables: dict[str, Any] = {
            "instrument": {"name": "Heard on the port, ASCII lines"},
            "decoder": decoder,
            "height": {"unit": unit},
        }
        if self.rows[0][field.at].kind != "hex":
            tables["height"]["resolution"] = f"{step:g} {unit}"
        return tables

    def _width(self, field: Field) -> dict[str, Any]:
        digits = len(field.texts[0].lower().removeprefix("0x").rstrip("h"))
        bits = 4 * digits
        half = 2 ** (bits - 1)
        return {"bits": bits} if bits in (8, 16, 24, 32) and any(v >= half for v in field.values) else {}

    def _flag(self) -> int | None:
        for i in reversed(range(len(self.rows[0]))):
            if self.rows[0][i].kind == "word" and stable_words([row[i].text for row in self.rows]):
                return i
        return None

    def _pattern(self, field: Field, *, written: bool) -> str:
        """A pattern from the start of the line to the last thing wanted from it."""
        groups = {field.at: "height"}
        if written and field.unit_at is not None:
            groups[field.unit_at] = "unit"
        for role in (Role.TEMPERATURE, Role.BATTERY):
            mine = [f for f in self.fields if f.role is role and math.isfinite(f.values[0])]
            if len(mine) == 1:
                groups[mine[0].at] = str(role)
        flag = self._flag()
        if flag is not None and flag not in groups:
            groups[flag] = "stable"
        last = max(groups)
        parts = [self._part(i, groups.get(i, "")) for i in range(last + 1)]
        return "^" + "".join(parts) + ("" if self.rows[0][last].kind == "word" else r"(?![\d.,])")

    def _part(self, i: int, group: str) -> str:
        kind, texts = self.rows[0][i].kind, [row[i].text for row in self.rows]
        if kind == "gap":
            return self._gap(i, texts)
        if kind == "number":
            inner = self._number(texts)
        elif kind == "hex":
            inner = r"(?:0[xX])?[0-9A-Fa-f]+"
        elif group == "unit":
            inner = "|".join(re.escape(t) for t in sorted(set(texts), key=lambda t: (-len(t), t)))
        elif group or len(set(texts)) > 1:
            inner = r"[^\s\d,;]+"
        else:
            inner = re.escape(texts[0])
        if kind == "hex" and group:
            return rf"(?:0[xX])?(?P<{group}>[0-9A-Fa-f]+)[hH]?"
        return f"(?P<{group}>{inner})" if group else inner

    def _number(self, texts: Sequence[str]) -> str:
        """A number as it is written at one place: only what was seen is allowed for."""
        digits = r"[\d,]+(?:\.\d+)?" if self.comma is Comma.THOUSANDS else r"\d*\.?\d+"
        if self.comma is Comma.DECIMAL:
            digits = r"\d*[.,]?\d+"
        if any(re.search(r"\d[eE]", text) for text in texts):
            digits += r"(?:[eE][+-]?\d+)?"
        if any(text[-1] in "+-" for text in texts):
            return digits + r"\s?[+-]?"
        return r"[+−-]?\s*" + digits if any("−" in text for text in texts) else r"[+-]?\s*" + digits

    def _gap(self, i: int, texts: Sequence[str]) -> str:
        sample = texts[0]
        apart = 0 < i < len(self.rows[0]) - 1 and not sample.strip() and all(t for t in texts)
        if apart and self.rows[0][i - 1].kind == self.rows[0][i + 1].kind:
            return r"\s+"
        return r"\s*" + "".join(re.escape(c) + r"\s*" for c in sample if not c.isspace())
