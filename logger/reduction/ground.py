"""From adjusted heights to the profile of one surface: horizontal stations in order, with what to beware of."""

import math
from collections.abc import Sequence

from logger.observation import Kind, Surface, Survey, Tape
from logger.profile import ProfilePoint
from logger.reduction.points import Height, Point
from logger.reduction.solution import Spread
from logger.reduction.tape import height_on, reducer


def ground_points(
    heights: Sequence[Height], spread: Spread, tape: Tape, surface: Surface
) -> tuple[tuple[ProfilePoint, ...], list[int], tuple[str, ...]]:
    """Points of one surface by station, then offset; their indices among the heights; what could not be reduced."""
    mine = [i for i, h in enumerate(heights) if h.key.kind is Kind.STATION and h.key.surface is surface]
    centre = sorted((heights[i].key.tape_m, heights[i].elevation_m) for i in mine if heights[i].key.offset_m == 0.0)
    line = centre or _mean_line([heights[i] for i in mine])
    station = reducer(tape, line)
    on_centre = {t for t, _ in line}
    found: list[tuple[ProfilePoint, int]] = []
    trouble: list[str] = []
    for i in mine:
        height = heights[i]
        own = height.elevation_m if height.key.tape_m not in on_centre else height_on(line, height.key.tape_m)
        reduced = station(height.key.tape_m, own)
        if reduced.station_m is None:
            trouble.append(f"{height.key.label} is left out: its tape distance is shorter than its height allows")
            continue
        u_station = abs(reduced.slope) * height.u_m
        point = ProfilePoint(
            reduced.station_m, height.key.offset_m, height.elevation_m, height.u_m, height.observations, u_station
        )
        found.append((point, i))
    found.sort(key=lambda pair: (pair[0].station_m, pair[0].offset_m))
    return tuple(p for p, _ in found), [i for _, i in found], tuple(trouble)


def _mean_line(heights: Sequence[Height]) -> list[tuple[float, float]]:
    """A line for the tape where only points beside it were observed: the mean height at each distance."""
    at: dict[float, list[float]] = {}
    for height in heights:
        at.setdefault(height.key.tape_m, []).append(height.elevation_m)
    return [(t, math.fsum(h) / len(h)) for t, h in sorted(at.items())]


SAME_SPOT_M = 0.005


def profile_notes(survey: Survey, points: Sequence[Point]) -> tuple[str, ...]:
    """What the user should know before trusting or digging: marks that hold the zero, forced readings."""
    notes = []
    marks = [p for p in points if p.key.kind is Kind.POINT]
    stations = [p for p in points if p.key.kind is Kind.STATION]
    if len(marks) == 1 and stations:
        name = marks[0].key.name
        notes.append(
            f"{name} alone holds the zero: observe a second mark outside the dig, before {name} can be dug away"
        )
    forced = [str(o.n) for o in survey.observations if o.forced and not o.struck]
    if forced:
        notes.append(f"forced before the reading was steady: observation {', '.join(forced)}")
    return tuple(notes)
