"""A layout measured as rules measure it: by flight, nosing to nosing and by exposed face."""

import math
from dataclasses import dataclass
from itertools import pairwise

from logger.steps.layout import Layout
from logger.steps.problem import SAME_M


@dataclass(frozen=True, slots=True)
class Flight:
    """Risers between two landings. `climbs_m` is what is climbed at each: the face first, then nosing to nosing."""

    first: int
    climbs_m: tuple[float, ...]
    faces_m: tuple[float, ...]
    treads_m: tuple[float, ...]

    @property
    def risers(self) -> int:
        """How many there are."""
        return len(self.climbs_m)

    @property
    def rise_m(self) -> float:
        """From the surface at its foot to the nosing of its last riser."""
        return sum(self.climbs_m)


def flights_of(layout: Layout) -> tuple[Flight, ...]:
    """The flights from the foot up."""
    flights: list[Flight] = []
    begin = 0
    for k in range(layout.problem.risers):
        last = k + 1 == layout.problem.risers
        if not last and not layout.depths[k].is_landing:
            continue
        own = range(begin, k + 1)
        climbs = [layout.faces_m[begin], *(layout.tops_m[i] - layout.tops_m[i - 1] for i in own[1:])]
        treads = [layout.depths[i].depth_m for i in own if i < len(layout.depths) and not layout.depths[i].is_landing]
        flights.append(Flight(begin + 1, tuple(climbs), layout.faces_m[begin : k + 1], tuple(treads)))
        begin = k + 1
    return tuple(flights)


def spread(values: tuple[float, ...]) -> float:
    """Largest less smallest."""
    return max(values) - min(values) if values else 0.0


def pitch_degrees(layout: Layout) -> float:
    """Slope of the line over the nosings of a flight."""
    return math.degrees(math.atan2(layout.heights.rise_m, layout.problem.tread_m))


def landing_depths_m(layout: Layout) -> list[float]:
    """Depths of all landings, from the foot up."""
    return [depth.depth_m for depth in layout.depths if depth.is_landing]


def drops_beside_m(layout: Layout, side_m: list[tuple[float, float]]) -> tuple[float, float]:
    """Greatest height of the ground above the steps along a side line, and of the steps above that ground.

    `side_m` holds stations counted from the foot and heights, in order; only where the line runs is measured.
    """
    above = below = 0.0
    stations = [x for x, _ in side_m]
    for depth in layout.depths:
        ends = (depth.station_m, depth.station_m + depth.depth_m)
        inside = [x for x in stations if ends[0] < x < ends[1]]
        for x in (*ends, *inside):
            if stations[0] - SAME_M <= x <= stations[-1] + SAME_M:
                gap = _on(side_m, x) - (depth.top_m + depth.slope * (x - depth.station_m))
                above, below = max(above, gap), max(below, -gap)
    return above, below


def _on(line: list[tuple[float, float]], x: float) -> float:
    for (x0, z0), (x1, z1) in pairwise(line):
        if x <= x1:
            return z0 + (z1 - z0) * (max(x, x0) - x0) / (x1 - x0)
    return line[-1][1]
