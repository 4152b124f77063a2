"""From what the tape showed to the horizontal station, as the tape was held; needs the heights and their uncertainty.

level   the station is what the tape shows
taut    one straight pull from the tape's zero:  station = sqrt(tape^2 - (height - height at the zero)^2)
ground  laid on the slope from point to point:   each piece  sqrt(piece^2 - (height difference)^2)
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from logger.observation import Tape


@dataclass(frozen=True, slots=True)
class Reduced:
    """A horizontal station in metres, None where the tape is shorter than the heights allow; `slope` is how it moves
    per metre of error in the height difference."""

    station_m: float | None
    slope: float = 0.0


Line = Sequence[tuple[float, float]]


def reducer(tape: Tape, line: Line) -> Callable[[float, float | None], Reduced]:
    """How to reduce tape distances, `line` being the centre line: (tape distance, height) in metres, by distance.

    The function returned takes a tape distance and the height there, None to take it from the line.
    """
    if tape is Tape.LEVEL or not line:
        return lambda tape_m, height_m: Reduced(tape_m)
    if tape is Tape.TAUT:
        zero = height_on(line, 0.0)
        return lambda tape_m, height_m: _piece(
            tape_m, (height_on(line, tape_m) if height_m is None else height_m) - zero
        )
    return _along(line)


def height_on(line: Line, tape_m: float) -> float:
    """Height of the line at a tape distance, linear between points and level beyond the ends."""
    at = bisect_right(line, tape_m, key=lambda knot: knot[0])
    if at == 0 or at == len(line):
        return line[min(at, len(line) - 1)][1]
    (t0, h0), (t1, h1) = line[at - 1], line[at]
    return h0 + (h1 - h0) * (tape_m - t0) / (t1 - t0)


def _piece(length: float, rise: float) -> Reduced:
    level = length**2 - rise**2
    if level < 0.0 or (level == 0.0 and length != 0.0):
        return Reduced(None)
    return Reduced(math.copysign(math.sqrt(level), length), -rise / math.sqrt(level) if level else 0.0)


def _along(line: Line) -> Callable[[float, float | None], Reduced]:
    """Stations along the polyline, counted from tape zero; a piece too short for its heights ends the line there."""
    knots = [t for t, _ in line]
    zero = (0.0, height_on(line, 0.0))
    ahead = [zero, *((t, h) for t, h in line if t > 0.0)]
    behind = [zero, *((t, h) for t, h in reversed(line) if t < 0.0)]
    known = {0.0: Reduced(0.0)} | _chain(ahead) | _chain(behind)

    def station(tape_m: float, height_m: float | None) -> Reduced:
        if tape_m in known:
            return known[tape_m]
        at = bisect_right(knots, tape_m)
        low = max((t for t in known if t <= tape_m), default=None)
        high = min((t for t in known if t >= tape_m), default=None)
        if low is None or high is None or at in (0, len(knots)):
            near = known[low if high is None else high]  # type: ignore[index]
            beyond = tape_m - (low if high is None else high)  # type: ignore[operator]
            return Reduced(None if near.station_m is None else near.station_m + beyond, near.slope)
        a, b = known[low], known[high]
        if a.station_m is None or b.station_m is None:
            return Reduced(None)
        share = (tape_m - low) / (high - low)
        return Reduced(a.station_m + share * (b.station_m - a.station_m), a.slope + share * (b.slope - a.slope))

    return station


def _chain(line: Line) -> dict[float, Reduced]:
    stations: dict[float, Reduced] = {}
    total: float | None = 0.0
    for (t0, h0), (t1, h1) in pairwise(line):
        piece = _piece(t1 - t0, h1 - h0)
        total = None if total is None or piece.station_m is None else total + piece.station_m
        stations[t1] = Reduced(total, piece.slope)
    return stations
