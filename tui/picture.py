"""The screen as a picture (SVG) that stands alone: blocks and lines are shapes, and no font is asked of any server."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from xml.sax.saxutils import escape

from rich.color import Color
from rich.segment import Segment

WIDE, HIGH = 10, 20
"""Pixels of a cell."""
EIGHTHS = " ▁▂▃▄▅▆▇█"
BLOCKS = {
    **{mark: (0.0, 1 - part / 8, 1.0, part / 8) for part, mark in enumerate(EIGHTHS) if part},
    "▀": (0.0, 0.0, 1.0, 0.5),
    "▔": (0.0, 0.0, 1.0, 0.125),
    "▌": (0.0, 0.0, 0.5, 1.0),
    "▐": (0.5, 0.0, 0.5, 1.0),
}
"""Left, top, width and height of what a block fills, as parts of its cell."""
ARMS = {"─": "lr", "│": "ud", "┌": "rd", "┐": "ld", "└": "ru", "┘": "lu", "━": "lr"}
ENDS = {"l": (0.0, 0.5), "r": (1.0, 0.5), "u": (0.5, 0.0), "d": (0.5, 1.0)}
HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}" height="{high}"'
    ' font-family="monospace" font-size="16" xml:space="preserve" shape-rendering="crispEdges">'
)


def drawn(lines: Sequence[Sequence[Segment]], columns: int) -> str:
    """A picture of lines of styled text, every style with both its colours."""
    parts = [HEAD.format(wide=columns * WIDE, high=len(lines) * HIGH)]
    for y, line in enumerate(lines):
        x = 0
        for segment in line:
            parts += _segment(segment, x, y)
            x += segment.cell_length
    return "\n".join([*parts, "</svg>", ""])


def _segment(segment: Segment, x: int, y: int) -> Iterator[str]:
    style = segment.style
    ink, paper = (_hex(style.color), _hex(style.bgcolor)) if style else ("#000000", "#ffffff")
    if style and style.reverse:
        ink, paper = paper, ink
    yield _rect(x * WIDE, y * HIGH, segment.cell_length * WIDE, HIGH, fill=paper)
    for (kind, mark), run in groupby(enumerate(segment.text), key=lambda at: _kind(at[1])):
        cells = list(run)
        left = x + cells[0][0]
        match kind:
            case "block":
                yield from _blocks(mark, left, len(cells), y=y, ink=ink)
            case "arms":
                yield from (_arms(mark, left + i, y, ink) for i in range(len(cells)))
            case "text":
                weight = ' font-weight="bold"' if style and style.bold else ""
                weight += ' text-decoration="line-through"' if style and style.strike else ""
                words, length = escape("".join(mark for _, mark in cells)), len(cells) * WIDE
                place = f'x="{left * WIDE}" y="{y * HIGH + 15}" textLength="{length}"'
                yield f'<text {place} fill="{ink}"{weight}>{words}</text>'


def _kind(mark: str) -> tuple[str, str]:
    """How a character is drawn; neighbours of one kind are drawn together."""
    if mark in BLOCKS:
        return "block", mark
    return ("arms", mark) if mark in ARMS else ("blank", "") if mark == " " else ("text", "")


def _blocks(mark: str, left: int, count: int, *, y: int, ink: str) -> Iterator[str]:
    px, py, wide, high = BLOCKS[mark]
    if wide == 1.0:
        wide, count = float(count), 1
    for i in range(count):
        yield _rect((left + i + px) * WIDE, (y + py) * HIGH, wide * WIDE, high * HIGH, fill=ink)


def _arms(mark: str, x: int, y: int, ink: str) -> str:
    middle = ((x + 0.5) * WIDE, (y + 0.5) * HIGH)
    ends = [((x + ENDS[arm][0]) * WIDE, (y + ENDS[arm][1]) * HIGH) for arm in ARMS[mark]]
    (x1, y1), (x2, y2) = ends
    thick = 4 if mark == "━" else 2
    path = f"M{x1:g} {y1:g} L{middle[0]:g} {middle[1]:g} L{x2:g} {y2:g}"
    return f'<path d="{path}" stroke="{ink}" stroke-width="{thick}" fill="none"/>'


def _rect(x: float, y: float, wide: float, high: float, *, fill: str) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" fill="{fill}"/>'


def _hex(colour: Color | None) -> str:
    return "#808080" if colour is None else colour.get_truecolor().hex
