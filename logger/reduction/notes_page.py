"""One page of levelling notes: sights in order, grouped into setups, with the arithmetic a careful clerk checks."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.observation import Kind, Observation

READING_U_M = 0.001
"""A staff read by eye to the millimetre (common practice)."""


class Sight(StrEnum):
    """What a reading is for: the first on a point of known height, one in between, the last before a move."""

    BACK = "bs"
    BETWEEN = "is"
    FORE = "fs"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the notes; lengths in metres, None where the page is empty. `number` is the line of the file.

    `known_m` is an elevation given beforehand; `printed` what the page itself reckoned, by column.
    """

    number: int
    point: str
    readings: dict[Sight, float]
    known_m: float | None = None
    station_m: float | None = None
    offset_m: float = 0.0
    printed: dict[str, float] | None = None


@dataclass(frozen=True, slots=True)
class PageCheck:
    """Sums of a page: backsights less foresights equal rises less falls equal last less first elevation.

    This proves the arithmetic only, not the observing.
    """

    backsights_m: float
    foresights_m: float
    rises_m: float
    falls_m: float
    first_m: float
    last_m: float

    @property
    def difference_m(self) -> float:
        """Last less first."""
        return self.last_m - self.first_m


def observations(lines: Sequence[Line]) -> Iterator[Observation]:
    """The sights as observations: a staff reading grows downwards, a backsight begins a setup."""
    setup = n = 0
    for at, line in enumerate(lines):
        for sight in (Sight.BETWEEN, Sight.FORE, Sight.BACK):
            if sight not in line.readings:
                continue
            setup += sight is Sight.BACK
            n += 1
            kind = _kind(line, first=at == 0)
            yield Observation(
                n=n,
                kind=kind,
                setup=setup,
                t_s=0.0,
                height_m=-line.readings[sight],
                u_m=READING_U_M,
                name="" if kind is Kind.STATION else line.point,
                tape_m=line.station_m if kind is Kind.STATION else None,
                offset_m=line.offset_m if kind is Kind.STATION else 0.0,
                elevation_m=line.known_m,
            )


def _kind(line: Line, *, first: bool) -> Kind:
    if line.known_m is not None or first:
        return Kind.BENCHMARK
    if line.station_m is not None:
        return Kind.STATION
    return Kind.TURN if Sight.FORE in line.readings else Kind.POINT


@dataclass(slots=True)
class Reckoning:
    """Elevations line by line, as the page should have them."""

    elevations_m: list[float]
    rises_m: list[float | None]
    check: PageCheck


def reckon(lines: Sequence[Line]) -> Reckoning:
    """Rise and fall from line to line: each reading against the one before it in the same setup."""
    start = lines[0].known_m
    assert start is not None
    elevations, rises = [start], [None]
    before = lines[0].readings[Sight.BACK]
    moves: list[float] = []
    told: list[float | None] = list(rises)
    for line in lines[1:]:
        ahead = line.readings.get(Sight.FORE, line.readings.get(Sight.BETWEEN))
        if ahead is None:
            known = line.known_m if line.known_m is not None else _earlier(lines, elevations, line)
            elevations.append(known)
            told.append(None)
        else:
            moves.append(before - ahead)
            elevations.append(elevations[-1] + moves[-1])
            told.append(moves[-1])
        before = line.readings.get(Sight.BACK, ahead if ahead is not None else before)
    check = PageCheck(
        math.fsum(line.readings.get(Sight.BACK, 0.0) for line in lines),
        math.fsum(line.readings.get(Sight.FORE, 0.0) for line in lines),
        math.fsum(m for m in moves if m > 0),
        -math.fsum(m for m in moves if m < 0),
        elevations[0],
        elevations[-1],
    )
    return Reckoning(elevations, told, check)


def _earlier(lines: Sequence[Line], elevations: Sequence[float], line: Line) -> float:
    """The elevation already reckoned for a point that a new setup begins on."""
    return next(e for one, e in zip(lines, elevations, strict=False) if one.point == line.point)
