"""A line of text cut into numbers, words and what stands between them, and lines of one shape gathered."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.decoders.numbers import feet_inches, number
from drivers.identify.words import STATUS_LETTERS, Role, label_role, unit_role
from drivers.identify.writing import LENGTH, STAMP, Writing, hex_columns_of, hex_spans

QUOTES = ('"', "'")
SIGN = r"[+\-−]"
EXPONENT = r"(?:[eE][+-]?\d{1,2}(?!\d))?"
WORD = re.compile(
    r"[A-Za-z]*H2O|[א-ת]+\"[א-ת]|[^\W\d_]+(?:[23](?![\d.,]))?(?:/[^\W\d_]+[23]?)?|°\s?[CFK]?|%|\"|″|”|''|'|′|’"
)


@dataclass(frozen=True, slots=True)
class Token:
    """A piece of a line: `kind` is `number`, `hex`, `length` (feet and inches), `stamp`, `word` or `gap`."""

    kind: str
    text: str
    thousands: str = ""

    @property
    def shape(self) -> str:
        """What makes two lines of one shape: blanks, lone signs, states and the text of words and numbers do not."""
        return re.sub(r"[\s+\-−A-Z]+", "", self.text) if self.kind == "gap" else self.kind

    @property
    def is_number(self) -> bool:
        """Whether it has a value."""
        return self.kind in ("number", "hex", "length")

    @property
    def value(self) -> float:
        """The number it is; a length in inches."""
        if self.kind == "hex":
            return float(int(self.text.lower().removeprefix("0x").rstrip("h"), 16))
        return feet_inches(self.text) if self.kind == "length" else number(self.text, self.thousands)


def number_pattern(writing: Writing) -> re.Pattern[str]:
    """A number of this kind of line, sign before or behind it."""
    digits = writing.digits
    behind = rf"{digits}\s?[+\-](?=\s|$|[^\d\s.+\-])"
    before = rf"(?<![\d.])(?<!\d[eE]){SIGN}\s{{0,8}}{digits}{EXPONENT}"
    return re.compile(rf"(?:{before}|{behind}|{digits}{EXPONENT})")


def cut(line: str, writing: Writing, hex_columns: frozenset[int] = frozenset()) -> list[Token]:
    """Cut one line into tokens."""
    numbers, hexes = number_pattern(writing), hex_spans(line, hex_columns)
    tokens: list[Token] = []
    at = gap = 0
    while at < len(line):
        kind, end = _next(line, at, writing, (numbers, hexes))
        if not kind:
            at += 1
            continue
        if gap < at:
            tokens.append(Token("gap", line[gap:at]))
        gap = _without_state(line, at, end) if kind == "word" else end
        tokens.append(Token(kind, line[at:gap], writing.thousands))
        at = end
    if gap < len(line):
        tokens.append(Token("gap", line[gap:]))
    return tokens


def _next(line: str, at: int, writing: Writing, known: tuple[re.Pattern[str], dict[int, int]]) -> tuple[str, int]:
    """Kind and end of the token that begins here; an empty kind if none does."""
    numbers, hexes = known
    if at in hexes:
        return "hex", hexes[at]
    tries = [("stamp", STAMP), ("length", LENGTH), ("number", numbers), ("word", WORD)]
    for kind, pattern in tries if writing.feet else (t for t in tries if t[0] != "length"):
        found = pattern.match(line, at)
        if found is not None and found.end() > at and not (found[0] in QUOTES and _is_quote(line, at)):
            return kind, found.end()
    return "", at


def _is_quote(line: str, at: int) -> bool:
    """Whether a mark quotes a text and is not that of inches or feet, which stand behind a number."""
    return line[:at].count(line[at]) % 2 == 1 or line[:at].rstrip()[-1:] not in set("0123456789+-")


def _without_state(line: str, at: int, end: int) -> int:
    """The end of a unit with a state letter glued behind it (`12.5mmS`): before that letter."""
    word = line[at:end]
    glued = len(word) > 1 and at > 0 and line[at - 1].isdigit() and word[-1] in STATUS_LETTERS
    known = unit_role(word) is Role.UNKNOWN and unit_role(word[:-1]) is Role.HEIGHT
    return end - 1 if glued and known and word[-1] != word[0].upper() else end


def of_one_shape(lines: Sequence[str], writing: Writing) -> tuple[list[list[Token]], list[list[Token]]]:
    """The lines of the likeliest shape that holds a number, cut, and those of all others."""
    hexes = hex_columns_of(lines)
    rows = [cut(line, writing, hexes) for line in lines]
    shapes = Counter(map(_shape, rows))
    telling = {shape for row in rows for shape in [_shape(row)] if tells_height(row)}

    def likely(shape: tuple[str, ...]) -> tuple[bool, int]:
        return shape in telling and 5 * shapes[shape] >= len(lines), shapes[shape]

    for shape in sorted(shapes, key=likely, reverse=True):
        if {"number", "hex", "length"} & set(shape):
            mine = [_aligned(row) for row in rows if _shape(row) == shape]
            return mine, [row for row in rows if _shape(row) != shape]
    return [], rows


def tells_height(row: Sequence[Token]) -> bool:
    """Whether a line names a length, by a unit or a label."""
    words = [t.text for t in row if t.kind == "word"]
    return any(t.kind == "length" for t in row) or (
        any(t.is_number for t in row)
        and any(unit_role(w) is Role.HEIGHT or label_role(w) is Role.HEIGHT for w in words)
    )


def _shape(row: Sequence[Token]) -> tuple[str, ...]:
    return tuple(t.shape for t in row if t.shape)


def _aligned(row: Sequence[Token]) -> list[Token]:
    """A gap before every token and at the end, blank or not, so that rows of one shape are equally long."""
    out: list[Token] = []
    for token in row:
        if token.kind != "gap" and (not out or out[-1].kind != "gap"):
            out.append(Token("gap", ""))
        out.append(token)
    if not out or out[-1].kind != "gap":
        out.append(Token("gap", ""))
    return out
