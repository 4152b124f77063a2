"""The section along the line of the steps, drawn to scale: ground, finished steps, base tops, subgrade, marks."""

from collections.abc import Iterator

import numpy as np

from drivers.lengths import FOOT_M, Units
from logger.profile import Ground
from logger.setout import Mark, SetOut
from logger.sheets.canvas import Canvas, Point
from logger.sheets.document import both, length

WIDTH_MM, TALLEST_MM = 178.0, 190.0
LEFT_MM, RIGHT_MM, ABOVE_MM, UNDER_MM = 4.0, 24.0, 13.0, 28.5
SCALES = (10, 15, 20, 25, 30, 40, 50, 60, 75, 80, 100, 120, 150, 200, 250, 300, 400, 500, 1000, 2000, 5000)
BEYOND = 0.04
"""How much of the run is drawn before the foot and after the head."""
SOIL_MM = 4.0


class _Row:
    """A row of names: one is taken only where there is room beside the last, so that they stay readable."""

    def __init__(self) -> None:
        self._last_mm = float("-inf")

    def takes(self, x_mm: float, room_mm: float) -> bool:
        """Whether a name so wide may stand at x; names come from left to right."""
        if x_mm - self._last_mm < room_mm:
            return False
        self._last_mm = x_mm
        return True


class Section:
    """One layout drawn over its ground, at the largest usual scale that fits the paper."""

    def __init__(self, ground: Ground, marks: SetOut, units: Units) -> None:
        self.ground, self.marks, self.units = ground, marks, units
        first, run = marks.marks[0].face_station_m, marks.end_station_m - marks.marks[0].face_station_m
        self.from_m = max(min(float(ground.stations_m[0]), first), first - BEYOND * run - 0.1)
        self.to_m = min(
            max(float(ground.stations_m[-1]), marks.end_station_m), marks.end_station_m + BEYOND * run + 0.1
        )
        heights = [*_heights(marks), *(z for _, z in self._ground_line())]
        self.low_m, self.high_m = min(heights), max(heights)
        self.scale = next((s for s in SCALES if self._fits(s)), SCALES[-1])
        tall = (self.high_m - self.low_m) * 1000 / self.scale
        self.canvas = Canvas(WIDTH_MM, ABOVE_MM + tall + SOIL_MM + UNDER_MM)

    def _fits(self, scale: int) -> bool:
        wide = (self.to_m - self.from_m) * 1000 / scale + LEFT_MM + RIGHT_MM
        tall = (self.high_m - self.low_m) * 1000 / scale + ABOVE_MM + UNDER_MM + SOIL_MM
        return wide <= WIDTH_MM and tall <= TALLEST_MM

    def at(self, station_m: float, height_m: float) -> Point:
        """Where a point of the section lies on the paper."""
        return (
            LEFT_MM + (station_m - self.from_m) * 1000 / self.scale,
            ABOVE_MM + (self.high_m - height_m) * 1000 / self.scale,
        )

    def draw(self) -> str:
        """The whole section as SVG text."""
        self._draw_ground()
        self._draw_layers()
        self._draw_steps()
        self._draw_stakes()
        self._draw_crossings()
        self._draw_numbers()
        self._draw_measures()
        return self.canvas.svg(f"Section, scale 1:{self.scale}")

    def _ground_line(self) -> Iterator[Point]:
        inside = self.ground.stations_m[(self.ground.stations_m > self.from_m) & (self.ground.stations_m < self.to_m)]
        for x in np.concatenate([[self.from_m], inside, [self.to_m]]):
            yield float(x), self.ground.at(float(x))

    def _draw_ground(self) -> None:
        line = [self.at(x, z) for x, z in self._ground_line()]
        under = [(x, y + SOIL_MM) for x, y in reversed(line)]
        self.canvas.path([*line, *under], width=0, fill="url(#ground)")
        self.canvas.path(line, width=0.35)

    def _draw_steps(self) -> None:
        approach = (self.from_m, self.marks.foot_m)
        self.canvas.path([self.at(x, z) for x, z in (approach, *self.marks.finished_line())], width=0.6)

    def _draw_numbers(self) -> None:
        row = _Row()
        for mark in self.marks.marks:
            assert mark.front.finished_m is not None
            x, y = self.at(mark.face_station_m, mark.front.finished_m)
            if row.takes(x, 2.0 + 1.2 * len(str(mark.riser))):
                self.canvas.text((x - 0.7, y + 0.6), str(mark.riser), anchor="end", bold=True)

    def _draw_layers(self) -> None:
        for dash, width, pick in (("1.6 0.8", 0.3, "base_top_m"), ("0.4 0.8", 0.3, "subgrade_m")):
            line = [self.at(x, z) for x, z in self._layer(pick)]
            if line:
                self.canvas.path(line, width=width, dash=dash)

    def _layer(self, pick: str) -> Iterator[Point]:
        for bed in self.marks.beds:
            front, back = getattr(bed.front, pick), getattr(bed.back, pick)
            if front is not None and back is not None:
                yield bed.start_m, front
                yield bed.end_m, back

    def _draw_crossings(self) -> None:
        crossed = [
            (station, f"g{mark.riser}")
            for mark in self.marks.marks
            for station in mark.ground_crossings_m
            if self.from_m <= station <= self.to_m
        ]
        strip = self.canvas.height - UNDER_MM + 2.5
        rows = [_Row(), _Row()]
        for station, name in sorted(crossed):
            x, y = self.at(station, self.ground.at(station))
            self.canvas.path([(x, y), (x - 1, y + 1.8), (x + 1, y + 1.8)], width=0.25, fill="white")
            row = next((r for r in (0, 1) if rows[r].takes(x, 5.6)), None)
            if row is not None:
                self.canvas.path([(x, y + 1.8), (x, strip)], width=0.1)
                self.canvas.text((x, strip + 2.6 + 3.0 * row), name, size=2.8)

    def _draw_stakes(self) -> None:
        seen: dict[float, list[str]] = {}
        for stake in self.marks.stakes:
            seen.setdefault(stake.station_m, []).append(stake.name)
        row = _Row()
        for station, names in seen.items():
            x, y = self.at(station, self.high_m)
            self.canvas.path(
                [(x, 6.0), (x, y + (self.canvas.height - ABOVE_MM - UNDER_MM))], width=0.12, dash="3 1 0.5 1"
            )
            words = " ".join(names)
            if row.takes(x, 1.7 * len(words)):
                self.canvas.text((x, 4.8), words, size=2.8)

    def _draw_measures(self) -> None:
        foot, marks = self.marks.marks[0].face_station_m, self.marks.marks
        top = marks[-1].back.finished_m if marks[-1].back.finished_m is not None else marks[-1].front.finished_m
        assert top is not None
        right = self.at(self.to_m, 0)[0] + 3
        low, high = self.at(foot, self.marks.foot_m)[1], self.at(foot, top)[1]
        self._measure((right, low), (right, high))
        rise = length(top - self.marks.foot_m, self.units)
        for i, words in enumerate(("rise", rise.text, rise.under)):
            self.canvas.text((right + 1.5, (low + high) / 2 + 3.4 * (i - 1)), words, anchor="start")
        base = self.canvas.height - UNDER_MM + 15.5
        start, end = self.at(foot, 0)[0], self.at(self.marks.end_station_m, 0)[0]
        self._measure((start, base), (end, base))
        self.canvas.text(((start + end) / 2, base - 1), "run " + both(self.marks.end_station_m - foot, self.units))
        self._scale_bar(base + 7)

    def _measure(self, one: Point, two: Point) -> None:
        self.canvas.path([one, two], width=0.2)
        for x, y in (one, two):
            self.canvas.path([(x - 1, y + 1), (x + 1, y - 1)], width=0.3)

    def _scale_bar(self, y: float) -> None:
        for at, unit_m, name in ((LEFT_MM, 1.0, "m"), (WIDTH_MM / 2, FOOT_M, "ft")):
            count = max(n for n in (1, 2, 3, 5, 10, 20, 50, 100) if n == 1 or n * unit_m * 1000 / self.scale < 60)
            long = count * unit_m * 1000 / self.scale
            self.canvas.path([(at, y), (at, y + 1.6), (at + long, y + 1.6), (at + long, y)], width=0.3)
            self.canvas.text((at + long + 1.5, y + 1.8), f"{count} {name}", anchor="start")
        self.canvas.text((WIDTH_MM - 2, y + 1.8), f"scale 1:{self.scale}", anchor="end", bold=True)


def _heights(marks: SetOut) -> Iterator[float]:
    yield marks.foot_m
    for mark in marks.marks:
        yield from (h for h in _levels(mark) if h is not None)


def _levels(mark: Mark) -> tuple[float | None, ...]:
    benches = (end.subgrade_m for bed in mark.beds for end in (bed.front, bed.back))
    return (mark.front.finished_m, mark.back.finished_m, *benches)
