"""A line of text cut into numbers, words and what stands between them, and lines of one shape gathered."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from itertools import pairwise

from drivers.decoders.lines import number


class Comma(Enum):
    """What a comma between digits means on a line."""

    DECIMAL = auto()
    SEPARATOR = auto()
    THOUSANDS = auto()


SIGN = r"[+\-−]"
DIGITS = {
    Comma.DECIMAL: r"(?:\d+(?:[.,]\d+)?|[.,]\d+)",
    Comma.SEPARATOR: r"(?:\d+(?:\.\d*)?|\.\d+)",
    Comma.THOUSANDS: r"(?:\d{1,3}(?:,\d{3})*(?:\.\d*)?)",
}
EXPONENT = r"(?:[eE][+-]?\d{1,2}(?!\d))?"
WORD = r"[A-Za-z]*H2O|[^\W\d_]+(?:[23](?![\d.,]))?(?:/[^\W\d_]+[23]?)?|°\s?[CFK]?|%|\"|''|'"
HEX = re.compile(r"(?:0[xX])?[0-9A-Fa-f]{2,8}[hH]?")
BREAK = re.compile(r"[\s,;:=|<>()\[\]{}]+")


@dataclass(frozen=True, slots=True)
class Token:
    """A piece of a line: `kind` is `number`, `hex`, `word` or `gap`."""

    kind: str
    text: str

    @property
    def shape(self) -> str:
        """What makes two lines of one shape: blanks and the text of words and numbers do not."""
        return "".join(self.text.split()) if self.kind == "gap" else self.kind

    @property
    def value(self) -> float:
        """The number it is."""
        if self.kind == "hex":
            return float(int(self.text.lower().removeprefix("0x").rstrip("h"), 16))
        return number(self.text)


def number_pattern(comma: Comma) -> str:
    """A number of this kind of line, sign before or behind it."""
    digits, exponent = DIGITS[comma], EXPONENT
    behind = rf"{digits}\s?[+\-](?=\s|$|[,;])"
    return rf"(?:(?<![\d.,])(?<!\d[eE]){SIGN}\s{{0,8}}{digits}{exponent}|{behind}|{digits}{exponent})"


def cut(line: str, comma: Comma, hex_columns: frozenset[int] = frozenset()) -> list[Token]:
    """Cut one line into tokens."""
    scanner = re.compile(rf"(?P<number>{number_pattern(comma)})|(?P<word>{WORD})")
    hexes = _hex_spans(line, hex_columns)
    tokens: list[Token] = []
    at = gap = 0
    while at < len(line):
        if at in hexes:
            kind, end = "hex", hexes[at]
        elif (found := scanner.match(line, at)) is not None and found.end() > at:
            kind, end = str(found.lastgroup), found.end()
        else:
            at += 1
            continue
        if gap < at:
            tokens.append(Token("gap", line[gap:at]))
        tokens.append(Token(kind, line[at:end]))
        at = gap = end
    if gap < len(line):
        tokens.append(Token("gap", line[gap:]))
    return tokens


def _hex_spans(line: str, columns: frozenset[int]) -> dict[int, int]:
    spans, at = {}, 0
    for index, piece in enumerate(BREAK.split(line)):
        start = line.find(piece, at)
        at = start + len(piece)
        if index in columns and piece:
            spans[start] = at
    return spans


def comma_of(lines: Sequence[str]) -> tuple[Comma, bool]:
    """What commas between digits mean here, and whether that is beyond doubt."""
    between = [len(re.findall(r"(?<=\d),(?=\d)", line)) for line in lines]
    if not any(between):
        return (Comma.SEPARATOR if any("," in line for line in lines) else Comma.DECIMAL), True
    pointed = sum(bool(re.search(r"\d\.\d", line)) for line in lines)
    grouped = sum(bool(re.search(r"(?<![\d,])\d{1,3}(?:,\d{3})+\.\d", line)) for line in lines)
    if grouped and grouped >= max(1, pointed // 2) and not any(re.search(r"\d,\d{1,2}(?!\d)", line) for line in lines):
        return Comma.THOUSANDS, True
    if pointed > len(lines) // 2 or any(re.search(r",\s+[+-]?\d|,[+-]\d", line) for line in lines):
        return Comma.SEPARATOR, pointed > len(lines) // 2
    halves = [re.findall(r"(\d+),(\d+)", line) for line in lines]
    firsts = [int(h[0][0]) for h in halves if h]
    places = Counter(len(part) for h in halves for _, part in h)
    single = Counter(between).most_common(1)[0][0] == 1
    counting = len(firsts) > 3 and len({b - a for a, b in pairwise(firsts)}) == 1
    if counting and firsts[0] != firsts[1]:
        return Comma.SEPARATOR, single
    separated = any(re.search(r"[;\t|]|\d\s+[+-]?\d", line) for line in lines)
    if single or separated:
        return Comma.DECIMAL, len(places) <= (1 if single else 3)
    if all("," in line and max(between) > 1 for line in lines):
        return Comma.SEPARATOR, False
    return Comma.DECIMAL, len(places) == 1


def hex_columns_of(lines: Sequence[str]) -> frozenset[int]:
    """Columns whose every entry is hexadecimal of one width, with letters in some."""
    rows = [BREAK.split(line) for line in lines]
    width = Counter(map(len, rows)).most_common(1)[0][0] if rows else 0
    rows = [row for row in rows if len(row) == width]
    found = set()
    for column in range(width):
        entries = [row[column] for row in rows]
        sizes = {len(entry) for entry in entries}
        lettered = sum(bool(re.search(r"[A-Fa-f]", e)) and bool(re.search(r"\d", e)) for e in entries)
        prefixed = all(e.lower().startswith("0x") for e in entries)
        whole = all(HEX.fullmatch(e) for e in entries)
        if (
            (
                len(entries) >= 3
                and len(sizes) == 1
                and whole
                and (prefixed or (lettered >= 2 and 4 * lettered >= len(rows)))
            )
            and min(sizes) >= 3
            and not all(re.fullmatch(r"\d+[eE]\d+", e) for e in entries)
        ):
            found.add(column)
    return frozenset(found)


def of_one_shape(lines: Sequence[str], comma: Comma, hexes: frozenset[int]) -> tuple[list[list[Token]], list[str]]:
    """The lines of the commonest shape that holds a number, cut, and the texts of all others."""
    rows = [(line, cut(line, comma, hexes)) for line in lines]
    shapes = Counter(tuple(t.shape for t in row if t.shape) for _, row in rows)
    for shape, _ in shapes.most_common():
        if "number" in shape or "hex" in shape:
            mine = [[t for t in row if t.shape or t.kind == "gap"] for _, row in rows if _shape(row) == shape]
            return [_aligned(row) for row in mine], [line for line, row in rows if _shape(row) != shape]
    return [], list(lines)


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
