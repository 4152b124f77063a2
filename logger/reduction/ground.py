"""From adjusted heights to the profile of one surface: horizontal stations in order, with what to beware of."""

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

from logger.observation import Kind, Observation, Surface, Survey, Tape
from logger.profile import ProfilePoint
from logger.reduction.closure import shown
from logger.reduction.points import Height, Point, key_of
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
BY_AIR = "heights by the pressure of the air: the weather moves them by metres in an hour, no steps can be set out"


def profile_notes(survey: Survey, points: Sequence[Point]) -> tuple[str, ...]:
    """What the user should know before trusting or digging: marks that hold the zero, forced readings."""
    taken = [o for o in survey.observations if not o.struck]
    forced = [str(o.n) for o in taken if o.forced]
    told = [BY_AIR] if survey.instrument.by_air else []
    told += [f"forced before the reading was steady: observation {', '.join(forced)}"] if forced else []
    if not any(p.key.kind is Kind.STATION for p in points):
        return tuple(told)
    lasting = dict.fromkeys(o.name for o in taken if o.kind in (Kind.BENCHMARK, Kind.POINT))
    inside = _on_the_line(taken, lasting)
    outside = [name for name in lasting if name not in inside]
    notes = [
        f"{name} is as high as {where} beside it: if that is one spot, the dig takes it away"
        for name, where in inside.items()
    ]
    if len(outside) < 2:
        holds = (
            f"{outside[0]} alone holds the zero outside the dig"
            if outside
            else "nothing outside the dig holds the zero"
        )
        notes.append(f"{holds}: observe {'a second' if outside else 'a'} mark that stays, before any ground is moved")
    return (*notes, *told)


def _on_the_line(taken: Sequence[Observation], marks: Iterable[str]) -> dict[str, str]:
    """Marks observed right before or after a station of the ground at the very same height, and which station."""
    inside: dict[str, str] = {}
    for pair in pairwise(taken):
        for mark, other in (pair, pair[::-1]):
            same = mark.setup == other.setup and abs(shown(mark) - shown(other)) <= SAME_SPOT_M
            if same and mark.name in marks and other.kind is Kind.STATION and other.surface is Surface.GROUND:
                inside.setdefault(mark.name, key_of(other).label)
    return inside
