"""Levelling notes kept on paper, typed as CSV, as a survey: backsights, intermediate sights and foresights.

Columns (a unit may follow an underscore, metres else): `point`, `bs`, `is`, `fs`; `known` for elevations given
beforehand; `station` and `offset` (left negative) where a point lies on the line; `rise`, `fall`, `hi`, `elevation` as
the page has them, checked and not needed; a line named `sum` with printed sums. Or one column `reading` with `setup`
beside it; where that is missing, the moves are told from a steady slope.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

from logger.errors import WrongFile
from logger.observation import LONGEST_M, Observation, Survey
from logger.reduction.notes_page import Line, PageCheck, Reckoning, Sight, observations, reckon
from logger.written import number

UNITS_M = {"m": 1.0, "mm": 0.001, "cm": 0.01, "ft": 0.3048, "in": 0.0254}
SAME_NAME = {
    "backsight": "bs",
    "intermediate": "is",
    "foresight": "fs",
    "rl": "elevation",
    "name": "point",
    "remarks": "note",
}
LENGTHS = ("bs", "is", "fs", "reading", "known", "station", "offset", "rise", "fall", "hi", "elevation")
PRINTED = ("rise", "fall", "hi", "elevation")
SUMS = ("sum", "sums", "total", "totals")
SAME_M = 0.0004
"""Printed figures are rounded; a whole millimetre off is a slip."""


@dataclass(frozen=True, slots=True)
class Levels:
    """Notes read and found sound: the observations, the page's own check, and what had to be told from the readings."""

    observations: tuple[Observation, ...]
    check: PageCheck
    elevations_m: tuple[float, ...]
    notes: tuple[str, ...] = ()

    def survey(self) -> Survey:
        """The survey for the adjustment; paper notes know no drift."""
        return Survey(self.observations)


def read_levels(text: str, source: Path | str) -> Levels:
    """Read the text of notes; WrongFile, naming `source`, holds every mistake with its line."""
    page = _Page(source)
    lines = page.lines(text)
    if not page.mistakes:
        page.sound(lines)
    if page.mistakes:
        raise WrongFile(source, page.mistakes)
    reckoned = reckon(lines)
    page.compare(lines, reckoned)
    if page.mistakes:
        raise WrongFile(source, page.mistakes)
    return Levels(tuple(observations(lines)), reckoned.check, tuple(reckoned.elevations_m), tuple(page.notes))


@dataclass(slots=True)
class _Page:
    """One file of notes on its way in, with every mistake met."""

    path: Path | str
    mistakes: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    sums: Line | None = None

    def lines(self, text: str) -> list[Line]:
        """The lines with at least one reading, in order."""
        reader = csv.reader(io.StringIO(text, newline=""))
        columns: list[tuple[str, float]] | None = None
        rows: list[tuple[int, dict[str, float | str]]] = []
        try:
            for row in reader:
                cells = [cell.strip() for cell in row]
                if not any(cells):
                    continue
                if columns is None:
                    columns = self._columns(cells)
                else:
                    rows.append((reader.line_num, self._row(columns, cells, reader.line_num)))
        except csv.Error as error:
            self.mistakes.append(f"line {reader.line_num}: {error}")
        if columns is None:
            self.mistakes.append("it is empty: a first line point,bs,is,fs is needed")
            return []
        named = {name for name, _ in columns}
        lines = self._from_readings(rows, "setup" in named) if "reading" in named else self._from_sights(rows)
        return [line for line in lines if line.readings]

    def _columns(self, cells: Sequence[str]) -> list[tuple[str, float]]:
        columns: list[tuple[str, float]] = []
        for cell in cells:
            name, _, unit = cell.lower().partition("_")
            name = SAME_NAME.get(name, name)
            if unit and unit not in UNITS_M:
                self.mistakes.append(f"line 1: {cell!r}: write the unit as one of {', '.join(UNITS_M)}")
            columns.append((name, UNITS_M.get(unit, 1.0)))
        names = [name for name, _ in columns]
        if "reading" not in names and not {"bs", "fs"} <= set(names):
            raise WrongFile(self.path, ["line 1: columns bs and fs are needed, or a column reading"])
        twice = sorted({n for n in names if n in LENGTHS and names.count(n) > 1})
        if twice:
            raise WrongFile(self.path, [f"line 1: column {name} stands there twice" for name in twice])
        return columns

    def _row(self, columns: Sequence[tuple[str, float]], cells: Sequence[str], line: int) -> dict[str, float | str]:
        if len(cells) > len(columns):
            self.mistakes.append(f"line {line}: {len(cells)} values under {len(columns)} columns")
        found: dict[str, float | str] = {}
        for (name, unit_m), cell in zip(columns, cells, strict=False):
            if not cell:
                continue
            if name not in LENGTHS:
                found[name] = cell
            elif (value := number(cell)) is None:
                self.mistakes.append(f"line {line}: {name} {cell[:40]!r} is not a number")
            elif abs(value * unit_m) > LONGEST_M:
                self.mistakes.append(f"line {line}: {name} {cell[:40]!r} is farther than any walk; look at its unit")
            else:
                found[name] = value * unit_m
        return found

    def _from_sights(self, rows: Iterable[tuple[int, dict[str, float | str]]]) -> list[Line]:
        lines = []
        for number_, row in rows:
            readings = {sight: value for sight in Sight if isinstance(value := row.get(sight.value), float)}
            line = _line(number_, row, readings)
            if line.point.lower() in SUMS:
                self.sums = line
                continue
            if Sight.BETWEEN in readings and len(readings) > 1:
                self.mistakes.append(f"line {number_}: an intermediate sight stands alone on its line")
            lines.append(line)
        return lines

    def _from_readings(self, rows: Sequence[tuple[int, dict[str, float | str]]], has_setup: bool) -> list[Line]:
        """Notes of bare readings: the first of a setup goes to the point before it, which is the change point."""
        values = [(n, row, float(row["reading"])) for n, row in rows if "reading" in row]
        moved = self._moves(values, has_setup)
        lines: list[Line] = []
        for at, (number_, row, value) in enumerate(values):
            if at in moved:
                lines[-1] = replace(lines[-1], readings={Sight.FORE: _last(lines[-1]), Sight.BACK: value})
            else:
                ends = at == len(values) - 1
                sight = Sight.BACK if not lines else Sight.FORE if ends else Sight.BETWEEN
                lines.append(_line(number_, row, {sight: value}))
        return lines

    def _moves(self, values: Sequence[tuple[int, dict[str, float | str], float]], has_setup: bool) -> set[int]:
        if has_setup:
            moved = {i + 1 for i, (a, b) in enumerate(pairwise(values)) if a[1].get("setup") != b[1].get("setup")}
            alone = [values[i][0] for i in sorted({0, *moved}) if values and i + 1 in {*moved, len(values)}]
            self.mistakes += [f"line {n}: the only reading of its setup ties nothing to it" for n in alone]
            return moved
        steps = [b[2] - a[2] for a, b in pairwise(values)]
        down = sum(s > 0 for s in steps) * 2 >= len(steps)
        moved = {i + 1 for i, s in enumerate(steps) if (s < 0) is down and s != 0}
        if any(i + 1 in moved for i in moved) or len(steps) in moved or 1 in moved:
            self.mistakes.append("the slope is not steady: a column setup must say where the instrument moved")
        elif moved:
            told = ", ".join(str(values[i][0]) for i in sorted(moved))
            self.notes.append(f"the instrument was taken to have moved before line {told}, as the readings turn there")
        return moved

    def sound(self, lines: Sequence[Line]) -> None:
        """Whether the notes can be reckoned at all."""
        if not lines:
            self.mistakes.append("there are no readings")
            return
        if Sight.BACK not in lines[0].readings:
            self.mistakes.append(f"line {lines[0].number}: the first reading is a backsight")
        if lines[0].known_m is None:
            self.mistakes.append(f"line {lines[0].number}: the elevation of the first point is needed (column known)")
        heard: set[str] = set()
        known: dict[str, tuple[int, float]] = {}
        for line in lines:
            if line.known_m is not None:
                before, known_m = known.setdefault(line.point, (line.number, line.known_m))
                if abs(line.known_m - known_m) > SAME_M:
                    told = f"{line.point} is known at {line.known_m:.3f} m, on line {before} at {known_m:.3f} m"
                    self.mistakes.append(f"line {line.number}: {told}")
            alone = Sight.BACK in line.readings and Sight.FORE not in line.readings and heard
            if alone and line.known_m is None and line.point not in heard:
                self.mistakes.append(f"line {line.number}: a setup begins on {line.point}, which has no height yet")
            heard.add(line.point)

    def compare(self, lines: Sequence[Line], reckoned: Reckoning) -> None:
        """Hold what the page reckoned against what follows from its readings."""
        for line, elevation, rise in zip(lines, reckoned.elevations_m, reckoned.rises_m, strict=True):
            due = {"elevation": elevation}
            if rise is not None:
                due |= {"rise": max(rise, 0.0), "fall": max(-rise, 0.0)}
            if Sight.BACK in line.readings:
                due["hi"] = elevation + line.readings[Sight.BACK]
            self._hold(line, due)
        if self.sums is not None:
            check = reckoned.check
            due = {"bs": check.backsights_m, "fs": check.foresights_m, "rise": check.rises_m, "fall": check.falls_m}
            printed = {s.value: v for s, v in self.sums.readings.items()} | (self.sums.printed or {})
            self._hold(replace(self.sums, printed=printed), due)

    def _hold(self, line: Line, due: dict[str, float]) -> None:
        for name, value in (line.printed or {}).items():
            if name in due and abs(value - due[name]) > SAME_M:
                told = f"{name} says {value:.3f} m, the readings give {due[name]:.3f} m"
                self.mistakes.append(f"line {line.number}: {told}")


def _line(number_: int, row: dict[str, float | str], readings: dict[Sight, float]) -> Line:
    lengths = {k: v for k, v in row.items() if isinstance(v, float)}
    point = str(row.get("point", "")) or f"P{number_}"
    printed = {name: lengths[name] for name in PRINTED if name in lengths}
    return Line(
        number_, point, readings, lengths.get("known"), lengths.get("station"), lengths.get("offset", 0.0), printed
    )


def _last(line: Line) -> float:
    return next(iter(line.readings.values()))
