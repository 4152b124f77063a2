"""Large numerals out of half blocks: figures from seven strokes at any size, fractions stacked, units small.

Coordinates are pixels: one column wide and half a row high, which is about square on a terminal.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

Bitmap = list[list[bool]]
TOKEN = re.compile(r"(?P<fraction>\d+/\d+)|(?P<digit>\d)|(?P<unit>[a-z]+)|(?P<mark>['\".+−?-])|(?P<gap>[ \u2007]+)")
STROKES = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abgfcd",
    "-": "g",
    "?": "abge",
}
SMALL = {
    "0": ("###", "#.#", "#.#", "#.#", "###"),
    "1": (".#.", "##.", ".#.", ".#.", "###"),
    "2": ("###", "..#", "###", "#..", "###"),
    "3": ("###", "..#", ".##", "..#", "###"),
    "4": ("#.#", "#.#", "###", "..#", "..#"),
    "5": ("###", "#..", "###", "..#", "###"),
    "6": ("###", "#..", "###", "#.#", "###"),
    "7": ("###", "..#", "..#", ".#.", ".#."),
    "8": ("###", "#.#", "###", "#.#", "###"),
    "9": ("###", "#.#", "###", "..#", "###"),
    "m": (".....", "##.#.", "#.#.#", "#.#.#", "#.#.#"),
    "f": (".##", ".#.", "###", ".#.", ".#."),
    "t": (".#.", ".#.", "###", ".#.", ".##"),
}
SMALL_PX = 5
FIGURE = re.compile(r"\d")
LEAST_ROWS, MOST_ROWS = 4, 14


@dataclass(frozen=True, slots=True)
class Size:
    """Height and width of a figure in pixels, thickness of its level and upright strokes."""

    high: int
    wide: int
    level: int
    upright: int

    @property
    def gap(self) -> int:
        """Empty columns between figures."""
        return max(1, self.upright // 2 + (self.wide > 6))


def drawn(text: str, columns: int, rows: int) -> list[str]:
    """The text in the largest numerals that fit, one string a row, all of one length; none where none fit.

    At most `rows` rows high and never fewer than four; figures keep their places as they change.
    """
    size = _fitting(FIGURE.sub("8", text), columns, rows)
    return [] if size is None else blocks(_joined(text, size))


@lru_cache(maxsize=64)
def _fitting(text: str, columns: int, rows: int) -> Size | None:
    """The largest size in which it fits; figures are all of one width, so that one stands for all."""
    for size in sizes(rows):
        whole = _joined(text, size)
        if whole[0] and len(whole[0]) <= columns:
            return size
    return None


def sizes(rows: int) -> Iterator[Size]:
    """Sizes from the largest down: tall first, then narrower at the same height."""
    for high_rows in range(min(rows, MOST_ROWS), LEAST_ROWS - 1, -1):
        high = 2 * high_rows
        for wide in range(round(high * 0.6), max(3, high // 3) - 1, -1):
            yield Size(high, wide, max(1, high // 9), 2 if wide >= 6 else 1)


def _joined(text: str, size: Size) -> Bitmap:
    parts = []
    for token in TOKEN.finditer(text):
        if token["gap"] == "\N{FIGURE SPACE}":
            parts.append([[False] * len(row) for row in _mark("+", size)])
            continue
        if token["gap"] or (token["mark"] == "-" and token.start() > 0):
            continue
        parts.append(_part(token, size))
    blank = [[False] * size.gap for _ in range(size.high)]
    whole: Bitmap = [[] for _ in range(size.high)]
    for i, part in enumerate(parts):
        for row, add, space in zip(whole, part, blank, strict=True):
            row += (space if i else []) + add
    return whole


def _part(token: re.Match[str], size: Size) -> Bitmap:
    if token["fraction"]:
        return _fraction(token["fraction"], size)
    if token["unit"]:
        return _low(_small_word(token["unit"], scale_of(size)), size)
    if token["digit"]:
        return _figure(token["digit"], size, size.wide)
    return _mark(token["mark"], size)


def scale_of(size: Size) -> int:
    """How many times the smallest figures are drawn beside figures of this size."""
    return max(1, (size.high - 2) // (2 * SMALL_PX))


def _figure(name: str, size: Size, wide: int) -> Bitmap:
    high, level, upright = size.high, size.level, size.upright
    middle = (high - level) // 2
    grid = [[False] * wide for _ in range(high)]

    def fill(rows: range, columns: range) -> None:
        for y in rows:
            for x in columns:
                grid[y][x] = True

    left, right, across = range(upright), range(wide - upright, wide), range(wide)
    upper, lower = range(middle + level), range(middle, high)
    places = {
        "a": (range(level), across),
        "b": (upper, right),
        "c": (lower, right),
        "d": (range(high - level, high), across),
        "e": (lower, left),
        "f": (upper, left),
        "g": (range(middle, middle + level), across),
    }
    for stroke in STROKES[name]:
        fill(*places[stroke])
    return grid


def _mark(mark: str, size: Size) -> Bitmap:
    high, level, upright = size.high, size.level, size.upright
    if mark in "-−?":
        return _figure("?" if mark == "?" else "-", size, max(3, size.wide * 2 // 3))
    if mark == "+":
        wide = max(3, size.wide * 2 // 3)
        wide += (wide - upright) % 2
        plus = _figure("-", size, wide)
        reach = (wide - level) // 2 + 1
        middle, left = (high - level) // 2, (wide - upright) // 2
        for y in range(max(0, middle - reach), min(high, middle + level + reach)):
            plus[y][left : left + upright] = [True] * upright
        return plus
    if mark == ".":
        return [[y >= high - max(2, level)] * upright for y in range(high)]
    tick = high // 3
    if mark == "'":
        return [[y < tick] * upright for y in range(high)]
    return [[y < tick] * upright + [False] + [y < tick] * upright for y in range(high)]


def _fraction(text: str, size: Size) -> Bitmap:
    top, bottom = (_small_word(part, scale_of(size)) for part in text.split("/"))
    wide = max(len(top[0]), len(bottom[0]))
    top, bottom = (_centred(part, wide) for part in (top, bottom))
    free = size.high - len(top) - len(bottom)
    if free < 2:
        return _joined_small(text, size)
    bar = [[True] * wide if 1 <= i < free - 1 and i == free // 2 else [False] * wide for i in range(free)]
    return top + bar + bottom


def _joined_small(text: str, size: Size) -> Bitmap:
    """A fraction beside itself where two figures do not stand apart above each other."""
    top, bottom = (_small_word(part, 1) for part in text.split("/"))
    slash = [[i + j == SMALL_PX - 1 for j in range(SMALL_PX)] for i in range(SMALL_PX)]
    one = [[*a, False, *s[1:4], False, *b] for a, s, b in zip(top, slash, bottom, strict=True)]
    return _low(one, size)


def _low(part: Bitmap, size: Size) -> Bitmap:
    blank = [[False] * len(part[0]) for _ in range(size.high - len(part))]
    return blank + part


def _centred(part: Bitmap, wide: int) -> Bitmap:
    left = (wide - len(part[0])) // 2
    return [[False] * left + row + [False] * (wide - left - len(row)) for row in part]


def _small_word(text: str, scale: int) -> Bitmap:
    rows: Bitmap = [[] for _ in range(SMALL_PX)]
    for i, letter in enumerate(text):
        for row, dots in zip(rows, SMALL.get(letter, SMALL["0"]), strict=True):
            row += ([False] if i else []) + [dot == "#" for dot in dots]
    return [[dot for dot in row for _ in range(scale)] for row in rows for _ in range(scale)]


def blocks(grid: Bitmap) -> list[str]:
    """Two rows of pixels to a line of half blocks."""
    block = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
    if len(grid) % 2:
        grid = [*grid, [False] * len(grid[0])]
    pairs = zip(grid[::2], grid[1::2], strict=True)
    return ["".join(block[u, low] for u, low in zip(top, under, strict=True)) for top, under in pairs]
