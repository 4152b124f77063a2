"""Where landings may lie: on the stations that want one, off the stretches that must not have one."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from logger.profile import Floats
from logger.steps.problem import SAME_M, Problem


@dataclass(frozen=True, slots=True)
class Window:
    """Landings from one of the cells `begin..end` to one of `low..high`, at least `need` cells apart.

    Cells are counted as excess: from where the riser would stand with treads alone.
    """

    begin: int
    end: int
    low: int
    high: int
    need: int


class Places:
    """The rules about where landings lie, as masks over the cells of one riser."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        last_m = problem.run_m - problem.tread_m / 2
        self.wishes = [(min(w.station_m, last_m), w.depth_m) for w in problem.wishes]
        self.free = not problem.wishes and not problem.zones

    def barred_treads(self, begin_m: Floats, depth_m: float) -> NDArray[np.bool_]:
        """Which treads that begin at these stations would lie where a landing is wanted."""
        barred = np.zeros(len(begin_m), bool)
        for station_m, _ in self.wishes:
            barred |= (begin_m <= station_m + SAME_M) & (begin_m + depth_m > station_m + SAME_M)
        return barred

    def barred_landings(self, begin_m: Floats, end_m: Floats) -> NDArray[np.bool_]:
        """Which landings are too short for the wish they cover, or lie where none may be."""
        barred = np.zeros(len(begin_m), bool)
        for station_m, depth_m in self.wishes:
            covers = (begin_m <= station_m + SAME_M) & (end_m > station_m + SAME_M)
            barred |= covers & (end_m - begin_m < depth_m - SAME_M)
        for zone in self.problem.zones:
            barred |= (begin_m < zone.end_m - SAME_M) & (end_m > zone.begin_m + SAME_M)
        return barred

    def bar(self, begin_m: float, depth_m: float, landing: bool) -> bool:
        """Whether one depth may not lie there."""
        begin = np.array([begin_m])
        return bool(
            (self.barred_landings(begin, begin + depth_m) if landing else self.barred_treads(begin, depth_m))[0]
        )

    def windows(self, depth: int) -> Iterator[Window]:
        """Every pair of stretches between which landings are all allowed or all barred, the allowed ones."""
        p = self.problem
        begin_m: Floats = np.asarray(((depth - 1) * p.tread + np.arange(p.excess + 1)) * p.grid_m, np.float64)
        end_m = begin_m + p.tread * p.grid_m
        for begin in self._stretches(begin_m, [s for s, _ in self.wishes], [z.end_m - 2 * SAME_M for z in p.zones]):
            ends = self._stretches(end_m, [s for s, _ in self.wishes], [z.begin_m for z in p.zones])
            for low, high in ends:
                a, b = begin_m[begin[0]], end_m[low]
                need_m = max([d for s, d in self.wishes if a <= s + SAME_M < b], default=0.0)
                if any(a < z.end_m - SAME_M and b > z.begin_m + SAME_M for z in p.zones):
                    continue
                need = max(p.landing, int(np.ceil((need_m - SAME_M) / p.grid_m))) - p.tread
                yield Window(*begin, low, high, need)

    @staticmethod
    def _stretches(x: Floats, *cuts_m: list[float]) -> list[tuple[int, int]]:
        """Index ranges of `x` between the cuts; a cut belongs to the stretch before it."""
        cuts = np.unique([np.searchsorted(x, c + SAME_M, "right") for group in cuts_m for c in group])
        edges = [0, *(int(c) for c in cuts if 0 < c < len(x)), len(x)]
        return [(a, b - 1) for a, b in pairwise(edges)]
