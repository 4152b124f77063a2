"""What it costs at least to come to a riser, whatever the heights: with it, sweeps that cannot win are left early.

Every face height and every number of landings passed that a sweep may have puts the surface behind riser k between two
levels. Against the nearer of them no cell costs more than under the true one, so the recurrence from the foot up, with
those costs, bounds the true cost from below.
"""

from collections.abc import Sequence

import numpy as np

from logger.profile import Floats
from logger.steps.fit import Indexes, Lattice, Strip
from logger.steps.problem import Problem
from logger.steps.sweeps import Sweep, levels_of

ROUNDING_M2 = 1e-9
"""A sweep is left only where it is worse by more than sums may be wrong by."""


class Reach:
    """Least costs from the foot to each riser and excess, for sweeps of the same slopes."""

    def __init__(self, problem: Problem, lattice: Lattice, sweeps: Sequence[Sweep]) -> None:
        self.limit_m2 = np.inf
        strip = lattice.strip(sweeps[0].heights.landing_fall)
        least = min(problem.landing - problem.tread, problem.least_excess)
        cost = np.full(problem.excess + 1, np.inf)
        cost[0] = 0.0
        self.costs = [cost]
        for k, levels in enumerate(zip(*_between(problem, sweeps), strict=True), 1):
            sums = _sums(problem, strip, k, levels)
            from_line = cost - sums[: len(cost)]
            best = from_line.copy()
            landed = np.minimum.accumulate(from_line)[: len(cost) - least]
            np.minimum(best[least:], landed, out=best[least:])
            above = cost[-1]
            cost = best + sums[problem.tread :]
            cost[-1] = min(cost[-1], above)  # treads above the uppermost landing need not stand on the grid
            self.costs.append(cost)

    def beaten_by(self, layout_m2: float) -> None:
        """A layout of this fit is known."""
        self.limit_m2 = min(self.limit_m2, layout_m2 + ROUNDING_M2)

    def hopeless(self, k: int, begins: Indexes, onward: Floats) -> bool:
        """Whether all that can still come of a sweep costs more than what is known.

        `onward` holds a row's least cost from riser k on for each excess from `begins` on.
        """
        cost = self.costs[k - 1]
        if not np.isfinite(self.limit_m2) or cost[-1] <= self.limit_m2:
            return False
        columns = onward.shape[1]
        return all(
            float((row[: len(cost) - begin] + cost[begin : begin + columns]).min(initial=np.inf)) > self.limit_m2
            for begin, row in zip(begins, onward, strict=True)
        )


def _between(p: Problem, sweeps: Sequence[Sweep]) -> tuple[Floats, Floats]:
    """The lowest and the highest level behind each riser."""
    fall, slope = sweeps[0].heights.slopes
    each = [(sweep.heights, passed) for sweep in sweeps for passed in range(sweep.rows)]
    first, more = levels_of(each, slope)
    passed = np.array([passed for _, passed in each])
    to_come = np.array([sweep.uppermost[0].passed - passed for sweep in sweeps for passed in range(sweep.rows)])
    risers = np.arange(1, p.searched + 1)[:, None]
    levels = first + (risers - 1) * more
    possible = (passed < risers) & (to_come <= p.searched - risers)
    lean_m = (fall - slope) * p.tread_m
    lowest = np.where(possible, levels, np.inf).min(axis=1) + min(0.0, lean_m)
    return lowest, np.where(possible, levels, -np.inf).max(axis=1) + max(0.0, lean_m)


def _sums(p: Problem, strip: Strip, k: int, levels: tuple[float, float]) -> Floats:
    """Least area from the line of riser k to each grid line, where the level lies between two."""
    (low, high), (above, below) = levels, strip.lattice.weights
    first = (k - 1) * p.tread
    areas = strip.areas[first : first + p.excess + p.tread]
    cells = np.maximum(above * (areas - high * p.grid_m), below * (low * p.grid_m - areas))
    return np.concatenate(([0.0], np.cumsum(np.maximum(cells, 0.0))))
