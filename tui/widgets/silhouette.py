"""The section drawn in characters: solid ground in eighth blocks, the steps as a line of box drawing over it."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from tui.widgets.painted import Line

EIGHTHS = " ▁▂▃▄▅▆▇█"
HALVES = "    ▄▄▄▄█"
"""The Linux console's font has no other parts of a block."""
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Frame:
    """What part of the section is drawn on how many characters; lengths in metres."""

    left_m: float
    right_m: float
    low_m: float
    high_m: float
    columns: int
    rows: int

    def station(self, column: int) -> float:
        """The station in the middle of a column."""
        return self.left_m + (column + 0.5) * (self.right_m - self.left_m) / self.columns

    def column(self, station_m: float) -> int:
        """The column a station falls in, which may be outside."""
        return int((station_m - self.left_m) / (self.right_m - self.left_m) * self.columns)

    def level(self, height_m: float) -> float:
        """A height in rows from the bottom."""
        return (height_m - self.low_m) / (self.high_m - self.low_m) * self.rows


def frame_of(points: Sequence[Point], columns: int, rows: int, aspect: float = 2.0) -> Frame:
    """A frame around these points, nothing exaggerated downwards: heights are stretched only to fill the rows."""
    stations, heights = [p[0] for p in points], [p[1] for p in points]
    left, right, low, high = min(stations), max(stations), min(heights), max(heights)
    span = max(right - left, 0.5)
    left, span = left - span / columns, span * (1 + 1 / columns)  # a face at the very foot has a column before it
    tall = max(high - low, span * aspect * rows / columns / 4, 0.1)
    foot = tall / rows
    return Frame(left, left + span, low - foot, low + tall * (1 + 0.6 / rows), columns, rows)


def height_at(points: Sequence[Point], station_m: float) -> float | None:
    """The height of a polyline at a station, None beyond its ends."""
    for (x1, y1), (x2, y2) in pairwise(points):
        if x1 <= station_m <= x2:
            return y1 if x2 == x1 else y1 + (y2 - y1) * (station_m - x1) / (x2 - x1)
    return None


def section(
    frame: Frame, ground: Sequence[Point], steps: Sequence[Point] = (), mark_m: float | None = None
) -> list[Line]:
    """The drawing, one line a row. `mark_m` is a station to point at from above."""
    blocks = HALVES if os.environ.get("TERM") == "linux" else EIGHTHS
    cells = [[(" ", "plain")] * frame.columns for _ in range(frame.rows)]
    for column in range(frame.columns):
        top = height_at(ground, frame.station(column))
        if top is not None:
            _fill(cells, column, frame.level(top), blocks)
    _line(cells, frame, [(frame.left_m, steps[0][1]), *steps] if steps else ())
    if mark_m is not None and 0 <= (column := frame.column(mark_m)) <= frame.columns:
        column = min(column, frame.columns - 1)
        top = height_at(ground, frame.station(column))
        row = frame.rows - 1 if top is None else int(frame.level(top))
        _put(cells, max(0, frame.rows - 2 - row), column, "▼")
    return [_spans(row) for row in cells]


Cells = list[list[tuple[str, str]]]


def _fill(cells: Cells, column: int, level: float, blocks: str) -> None:
    rows = len(cells)
    for row in range(rows):
        part = min(8, max(0, round((level - row) * 8)))
        if part:
            cells[rows - 1 - row][column] = (blocks[part], "earth")


def _line(cells: Cells, frame: Frame, steps: Sequence[Point]) -> None:
    rows: list[int | None] = []
    for column in range(frame.columns):
        at = height_at(steps, frame.station(column))
        row = None if at is None else frame.rows - 1 - int(min(frame.rows - 1, max(0, frame.level(at))))
        rows.append(row)
    before: int | None = None
    for column, row in enumerate(rows):
        if row is None:
            before = None
            continue
        if before is None or before == row:
            _put(cells, row, column, "─")
        else:
            up = row < before
            _put(cells, before, column, "┘" if up else "┐")
            for between in range(min(row, before) + 1, max(row, before)):
                _put(cells, between, column, "│")
            _put(cells, row, column, "┌" if up else "└")
        before = row


def _put(cells: Cells, row: int, column: int, mark: str) -> None:
    before, style = cells[row][column]
    solid = style in ("earth", "over") and before not in "▁▂▃"
    cells[row][column] = (mark, "over" if solid else "line")


def _spans(row: list[tuple[str, str]]) -> Line:
    return tuple(("".join(c for c, _ in run), style) for style, run in groupby(row, key=lambda cell: cell[1]))
