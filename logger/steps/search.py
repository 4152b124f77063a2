"""The exact optimum by dynamic programming over riser lines on the grid.

Riser k stands at cell `(k - 1) * tread + e`; a tread keeps the excess `e`, a landing raises it. With one slope the
surface behind riser k is one line whatever lies before it, so the area over any depth is the difference of two prefix
sums, and the best landing is a running minimum from the far end: the work is risers times cells.

Every layout with landings ends in treads alone, so the uppermost landing ends at a known station, on the grid or not:
it takes what is left below one cell.

    cost[k, e] = min( tread[k, e] + cost[k + 1, e],
                      min over e' >= e + landing - tread of landing[k, e, e'] + cost[k + 1, e'],
                      landing[k, e, all] + the treads above it )

Where the heights depend on how many landings lie below (landings fall apart from treads, or nosings are kept equal),
the landings passed are counted as stages, and the search is run for each number of landings.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from logger.profile import Floats
from logger.steps.fit import Lattice
from logger.steps.layout import TIE_M2, Layout, laid_out
from logger.steps.places import Places, Window
from logger.steps.problem import HeightRule, Heights, Problem

BUDGET_M2 = TIE_M2 / 2
"""Slack when a tie is walked for the lowest faces; a landing more must earn TIE_M2."""


def best_layout(problem: Problem, lattice: Lattice, rule: HeightRule) -> Layout | None:
    """The layout of least fit; None where there is none."""
    best: Layout | None = None
    for found in _layouts(problem, lattice, rule):
        if found is not None and (best is None or found.before(best)):
            best = found
    return best


def _layouts(problem: Problem, lattice: Lattice, rule: HeightRule) -> Iterator[Layout | None]:
    if problem.excess == 0 and problem.searched >= 0:
        yield _treads_alone(problem, rule)
    elif problem.excess >= problem.least_excess:
        for sweep in _sweeps(problem, rule):
            yield Search(problem, lattice, sweep).layout()


def _treads_alone(problem: Problem, rule: HeightRule) -> Layout | None:
    """The one layout without a landing among the depths searched; what is left of the run goes into the last depth."""
    n, heights, places = problem.risers, rule.heights(0, 1), Places(problem)
    if heights is None or not problem.flight_least <= n <= (problem.flight_most or n):
        return None
    if problem.top_is_grade and problem.remainder_m:
        return None
    depths = [problem.tread_m] * problem.searched
    landings = [False] * problem.searched
    if problem.last_m is not None:
        depths.append(problem.last_m)
        landings.append(problem.last_is_landing)
    begin = list(accumulate(depths, initial=0.0))
    if depths:
        depths[-1] = problem.run_m - begin[-2]
    for x, depth_m, landing in zip(begin, depths, landings, strict=False):
        if places.bar(x, depth_m, landing):
            return None
    return laid_out(problem, heights, depths, landings)


@dataclass(frozen=True, slots=True)
class Sweep:
    """One pass over the grid: the heights, and where they depend on it, how many landings there shall be.

    `landings` is None where any number will do; `at_end` says whether the uppermost is the last depth, None where
    either will do.
    """

    heights: Heights
    landings: int | None = None
    at_end: bool | None = None


def _sweeps(problem: Problem, rule: HeightRule) -> Iterator[Sweep]:
    if not rule.staged:
        heights = rule.heights(1, 2)
        if heights is not None:
            yield Sweep(heights)
        return
    most = min(problem.searched, 1 + (problem.excess - problem.least_excess) // (problem.landing - problem.tread))
    may_end = not problem.top_is_grade and problem.last_m is None
    for landings in range(1, most + 1):
        below, at_end = rule.heights(landings, landings + 1), rule.heights(landings, landings)
        if below is not None and (below == at_end or not may_end):
            yield Sweep(below, landings)
            continue
        if below is not None:
            yield Sweep(below, landings, at_end=False)
        if at_end is not None and may_end:
            yield Sweep(at_end, landings, at_end=True)


class Search:
    """One sweep from the last depth down to the first, and the walk back up along the best of them."""

    def __init__(self, problem: Problem, lattice: Lattice, sweep: Sweep) -> None:
        self.problem, self.lattice, self.sweep = problem, lattice, sweep
        self.places = Places(problem)
        self.stages = sweep.landings or 1
        self.cells = np.arange(problem.excess + 1)
        self.along_m: Floats = np.asarray(self.cells * problem.grid_m, np.float64)
        self.least = problem.landing - problem.tread
        self.flight = problem.flight_most or problem.flight_least
        self.above = self._above_landings()
        self.rows: dict[int, Row] = {}

    def layout(self) -> Layout | None:
        """The best layout of this sweep with at least one landing; None where there is none."""
        p = self.problem
        if p.last_m is not None and self.places.bar(p.run_m - p.last_m, p.last_m, p.last_is_landing):
            return None
        costs = self._costs()
        if not np.isfinite(costs[1][0, 0, 0]):
            return None
        depths, landings = self._walk(costs)
        if p.last_m is not None:
            depths.append(p.last_m)
            landings.append(p.last_is_landing)
        return laid_out(p, self.sweep.heights, depths, landings)

    def _costs(self) -> list[Floats]:
        """Least cost from riser k (index) on: stages passed, risers of the flight so far less one, excess."""
        p = self.problem
        after = np.full((self.stages, self.flight, p.excess + 1), np.inf)
        costs = [after]
        for k in range(p.searched, 0, -1):
            here = np.full_like(after, np.inf)
            row = self.rows[k] = Row(self, k)
            stages = slice(row.low, row.high + 1)
            here[stages, p.flight_least - 1 :] = row.landing(after)[:, None, :]
            if k < p.searched:
                up = row.treads[:, None, :] + after[stages]
                here[stages, :-1] = np.minimum(here[stages, :-1], up[:, 1:])
                if p.flight_most is None:
                    here[stages, -1] = np.minimum(here[stages, -1], up[:, -1])
            costs.append(here)
            after = here
        return [after, *reversed(costs)]

    def _walk(self, costs: list[Floats]) -> tuple[list[float], list[bool]]:
        """Depths from the foot on: of all within the budget, the lowest riser lines."""
        p = self.problem
        depths: list[float] = []
        landings: list[bool] = []
        k, stage, so_far, e = 1, 0, 0, 0
        budget = costs[1][0, 0, 0] + BUDGET_M2
        while True:
            row, after = self.rows[k], costs[k + 1]
            longer = min(so_far + 1, self.flight - 1)
            may = k < p.searched and (p.flight_most is None or so_far < longer)
            tread = float(row.treads[stage - row.low, e]) if may else np.inf
            if tread + after[stage, longer, e] <= budget:
                depths.append(p.tread_m)
                landings.append(False)
                budget, so_far = budget - tread, longer
            else:
                to, cost = row.lowest_landing(after, (stage, e), budget)
                landings.append(True)
                if to is None:
                    depths.append(p.tread_m + (p.excess - e) * p.grid_m + p.remainder_m)
                    rest = p.searched - k
                    return depths + [p.tread_m] * rest, landings + [False] * rest
                depths.append(p.tread_m + (to - e) * p.grid_m)
                budget, so_far, e = budget - cost, 0, to
                stage = min(stage + 1, self.stages - 1)
            k += 1

    def _above_landings(self) -> list[float]:
        """Cost of the treads above an uppermost landing that follows riser k (index); inf where it may not be there."""
        p, heights = self.problem, self.sweep.heights
        passed = self.sweep.landings or 0
        risers = np.arange(2, p.searched + 1)
        x = np.asarray((risers - 1) * p.tread_m + p.excess_m, np.float64)
        levels = np.array([heights.level_m(k, passed, heights.landing_fall) for k in range(2, p.searched + 1)])
        costs = np.zeros(p.searched + 2)
        if len(risers):
            tops, slopes = levels + heights.landing_fall * x, np.full(len(x), heights.fall)
            above, below = p.line.areas(x, p.run_m - (p.last_m or 0.0), tops, slopes)
            treads = p.weights[0] * above + p.weights[1] * below
            treads[self.places.barred_treads(x, p.tread_m)] = np.inf
            costs[2 : p.searched + 1] = np.cumsum(treads[::-1])[::-1]
        return [self._allowed(k, float(costs[k + 1])) if k else np.inf for k in range(p.searched + 1)]

    def _allowed(self, riser: int, cost: float) -> float:
        p, flight = self.problem, self.problem.risers - riser
        if self.sweep.at_end is not None and self.sweep.at_end != (flight == 0):
            return np.inf
        return cost if flight == 0 or p.flight_least <= flight <= (p.flight_most or flight) else np.inf


class Row:
    """What may follow riser k; array rows are the numbers of landings that may have been passed, columns the excess."""

    def __init__(self, search: Search, k: int) -> None:
        self.search, self.k = search, k
        p, self.heights = search.problem, search.sweep.heights
        self.first = (k - 1) * p.tread
        self.begin_m = self.first * p.grid_m
        self.low, self.high = 0, 0
        if search.sweep.landings is not None:
            self.low = max(0, search.stages - (p.searched - k + 1))
            self.high = min(search.stages - 1, k - 1)
        slope = self.heights.landing_fall
        stages = range(self.low, self.high + 1)
        self.levels_m = np.array([self.heights.level_m(k, stage, slope) for stage in stages], np.float64)
        self.sums = search.lattice.prefix(self.levels_m, slope, self.first, self.first + p.excess + p.tread)
        self.treads = self._treads()

    def _treads(self) -> Floats:
        """Cost of a tread."""
        p, h = self.search.problem, self.heights
        if h.fall == h.landing_fall:
            costs = self.sums[:, p.tread :] - self.sums[:, : p.excess + 1]
        else:
            x = self.begin_m + self.search.along_m
            levels = self.levels_m[:, None] + (h.landing_fall - h.fall) * x
            costs = self.search.lattice.windows(levels, h.fall, self.first, p.tread)
        if self.search.places.wishes:
            x = self.begin_m + self.search.along_m
            costs = np.where(self.search.places.barred_treads(x, p.tread_m), np.inf, costs)
        return costs

    def landing(self, after: Floats) -> Floats:
        """Least cost of a landing and all that follows it."""
        p = self.search.problem
        best = np.full((len(self.sums), p.excess + 1), np.inf)
        going = self._going_on()
        if going:
            onward = self.sums[:going, p.tread :] + after[self._next(self.low) :, 0][:going]
            self._lower_landings(onward, best[:going])
        if self.high == self.search.stages - 1:
            self._uppermost(best[-1])
        best -= self.sums[:, : p.excess + 1]
        best += TIE_M2
        return best

    def lowest_landing(self, after: Floats, at: tuple[int, int], budget: float) -> tuple[int | None, float]:
        """The shortest landing within the budget, as the excess after it; None for the uppermost."""
        p, (stage, e) = self.search.problem, at
        if stage - self.low < self._going_on():
            sums = self.sums[stage - self.low]
            costs = sums[p.tread :] - sums[e] + TIE_M2
            fits = (costs + after[self._next(stage), 0] <= budget) & self._reached(e)
            if fits.any():
                to = int(np.argmax(fits))
                return to, float(costs[to])
        return None, 0.0

    def _going_on(self) -> int:
        """How many of the rows may have a landing that is not the uppermost."""
        if self.k == self.search.problem.searched:
            return 0
        if self.search.sweep.landings is None:
            return 1
        return max(0, min(self.high, self.search.stages - 2) - self.low + 1)

    def _next(self, stage: int) -> int:
        """The stage after a landing."""
        return stage if self.search.sweep.landings is None else stage + 1

    def _lower_landings(self, onward: Floats, best: Floats) -> None:
        """Into `best`, for each excess, the least `onward` that a landing from there may reach."""
        p, least = self.search.problem, self.search.least
        if self.search.places.free and p.landing_step == 1:
            reach = np.minimum.accumulate(onward[:, ::-1], axis=1)[:, ::-1]
            best[:, : max(0, p.excess + 1 - least)] = reach[:, least:]
            return
        for window in self._windows():
            starts = np.arange(window.begin, window.end + 1)
            first = np.maximum(starts + window.need, window.low)
            first += (starts + least - first) % p.landing_step
            inside = first <= window.high
            at = starts[inside]
            for values, into in zip(onward, best, strict=True):
                reach = running_least(values[window.low : window.high + 1], p.landing_step)
                into[at] = np.minimum(into[at], reach[first[inside] - window.low])

    def _windows(self) -> Iterator[Window]:
        if self.search.places.free:
            last = self.search.problem.excess
            return iter((Window(0, last, 0, last, self.search.least),))
        return self.search.places.windows(self.k)

    def _reached(self, e: int) -> NDArray[np.bool_]:
        """Which excesses a landing from `e` may reach."""
        p, cells = self.search.problem, self.search.cells
        more = cells - e - self.search.least
        reached = (more >= 0) & (more % p.landing_step == 0)
        if not self.search.places.free:
            begin_m = self.begin_m + e * p.grid_m
            end = self.begin_m + p.tread * p.grid_m + self.search.along_m
            reached &= ~self.search.places.barred_landings(np.full(len(cells), begin_m), end)
        return np.asarray(reached)

    def _uppermost(self, best: Floats) -> None:
        """Into `best`, the cost from the grid line of the row's beginning on with the uppermost landing here."""
        search, p = self.search, self.search.problem
        cost = search.above[self.k]
        if not np.isfinite(cost):
            return
        cost += float(self.sums[-1, -1]) + self._remainder()
        last = p.excess - p.least_excess
        allowed = slice(last % p.landing_step, last + 1, p.landing_step)
        if search.places.free:
            np.minimum(best[allowed], cost, out=best[allowed])
            return
        begin = self.begin_m + search.along_m[allowed]
        barred = search.places.barred_landings(begin, np.full(len(begin), self.k * p.tread_m + p.excess_m))
        best[allowed] = np.where(barred, best[allowed], np.minimum(best[allowed], cost))

    def _remainder(self) -> float:
        """Cost of what is left below one cell, at the end of the uppermost landing."""
        p = self.search.problem
        if not p.remainder_m:
            return 0.0
        x, slope = (self.first + p.tread + p.excess) * p.grid_m, self.heights.landing_fall
        at, height, slopes = np.array([x]), self.levels_m[-1:] + slope * x, np.array([slope])
        above, below = p.line.areas(at, x + p.remainder_m, height, slopes)
        return float(p.weights[0] * above[0] + p.weights[1] * below[0])


def running_least(values: Floats, step: int) -> Floats:
    """For each index, the least of the values at it and every `step` further on."""
    if step == 1:
        return np.asarray(np.minimum.accumulate(values[::-1])[::-1])
    rows = -(-len(values) // step)
    padded = np.full(rows * step, np.inf)
    padded[: len(values)] = values
    table = padded.reshape(rows, step)
    return np.asarray(np.minimum.accumulate(table[::-1], axis=0)[::-1].ravel()[: len(values)])
