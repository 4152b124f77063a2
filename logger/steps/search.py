"""The exact optimum by dynamic programming over the risers that begin a flight.

Riser k stands at cell `(k - 1) * tread + e`; a tread keeps the excess `e`, a landing raises it. Surfaces of one slope
behind riser k are one line whatever lies before it, so the area over any depth is the difference of two prefix sums,
the best landing is a running minimum from the far end, and the best end of a flight one over the risers above:

    end[k, e]   = min over e' >= e + landing - tread of landing[k, e, e'] + begin[k + 1, e']
                  or, as the uppermost, landing[k, e, all] + the treads above it
    begin[k, e] = min over j of treads[k .. j - 1, e] + end[j, e]        k + least - 1 <= j <= k + most - 1

The work is risers times cells, with a limit to flights or without. Every layout with landings ends in treads alone, so
the uppermost landing ends at a known station, on the grid or not: it takes what is left below one cell.

Where the heights depend on how many landings there are and lie below (landings fall apart from treads, or nosings are
kept equal), every number of landings is a sweep of its own, with a row for each number passed. Rows with `m` landings
passed begin `m` least landings up the line.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from logger.profile import Floats
from logger.steps.fit import Cells, Lattice, Stack
from logger.steps.flights import Flights
from logger.steps.layout import TIE_M2, Layout, laid_out
from logger.steps.places import Places
from logger.steps.problem import HeightRule, Problem
from logger.steps.reach import Reach
from logger.steps.sweeps import Sweep, Uppermost, levels_of, sweeps_of, together

EVERY = 4
"""Every so many risers it is asked whether a sweep can still win."""

BUDGET_M2 = TIE_M2 / 2
"""Slack when a tie is walked for the lowest faces; a landing more must earn TIE_M2."""

AT_ONCE = 1 << 15
"""So many cells are measured at once: more would not stay in the processor's cache."""


def best_layout(problem: Problem, lattice: Lattice, rule: HeightRule) -> Layout | None:
    """The layout of least fit; None where there is none."""
    if problem.excess == 0 and problem.searched >= 0:
        return _treads_alone(problem, rule)
    if problem.searched <= 0 or problem.excess < problem.least_excess:
        return None
    sweeps = sweeps_of(problem, rule)
    groups = list(together(problem, sweeps))
    alike = len({sweep.heights.slopes for sweep in sweeps}) == 1
    reach = Reach(problem, lattice, sweeps) if alike and len(groups) > 1 else None
    best: Layout | None = None
    for group in groups:
        for found in Search(problem, lattice, group).layouts(reach):
            if best is None or found.before(best):
                best = found
            if reach is not None:
                reach.beaten_by(best.fit_m2)
    return best


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
class Exit:
    """An uppermost landing of a sweep whose first row this is."""

    sweep: Sweep
    way: Uppermost
    first: int

    @property
    def row(self) -> int:
        """The row it leaves from."""
        return self.first + self.way.passed


@dataclass(frozen=True, slots=True)
class Table:
    """What is known behind one riser, for the rows that can be: numbers of landings that may have been passed there.

    `sums` are areas from its line on, `begin` least costs from there on where it is the first of a flight.
    """

    rows: slice
    sums: Floats
    begin: Floats


class Search:
    """Sweeps over the grid from the last depth down to the first, and the walk back up along the best of each."""

    def __init__(self, problem: Problem, lattice: Lattice, sweeps: Sequence[Sweep]) -> None:
        self.problem, self.sweeps = problem, sweeps
        self.places = Places(problem)
        self.least = problem.landing - problem.tread
        self.counted = sweeps[0].counted
        self.shift = self.least if self.counted and self.places.free else 0
        self.passed = np.concatenate([np.arange(sweep.rows) for sweep in sweeps])
        self.first = np.cumsum([0, *(sweep.rows for sweep in sweeps)])
        self.exits = [
            Exit(sweep, way, int(row))
            for sweep, row in zip(sweeps, self.first, strict=False)
            for way in sweep.uppermost
        ]
        self.at = np.array([one.row for one in self.exits])
        shifts = self.passed[self.at] * self.shift
        self.ends = problem.excess - problem.least_excess - shifts
        self.whole = problem.excess + problem.tread - shifts
        self.width = (int(self.ends.max()) if self.places.free else problem.excess) + 1
        self.columns = np.arange(self.width)
        length = self.width - 1 + max(self.shift, problem.least_excess) + problem.tread
        fall, landing_fall = sweeps[0].heights.slopes
        self.spans = None if fall == landing_fall else lattice.spans(fall, problem.tread)
        each = [(sweep.heights, passed) for sweep in sweeps for passed in range(sweep.rows)]
        levels = levels_of(each, landing_fall)
        begin = self.passed * self.shift
        self.stack = Stack(lattice.strip(landing_fall), levels, Cells(begin, problem.tread, length, problem.searched))
        self.above = self._above()
        self.tables: dict[int, Table] = {}
        self.end = np.full((problem.searched + 1, len(self.passed), self.width), np.inf)
        """Least costs behind each riser from there on where it is the last of a flight, less the treads above it."""

    def layouts(self, reach: Reach | None) -> Iterator[Layout]:
        """The best layout of each sweep that has one, with at least one landing; none where it cannot be the best."""
        p = self.problem
        if p.last_m is not None and self.places.bar(p.run_m - p.last_m, p.last_m, p.last_is_landing):
            return
        if not self._gone_down(reach):
            return
        for sweep, row in zip(self.sweeps, self.first[:-1], strict=True):
            if np.isfinite(self.tables[1].begin[row, 0]):
                depths, landings = self._walk(int(row))
                if p.last_m is not None:
                    depths.append(p.last_m)
                    landings.append(p.last_is_landing)
                yield laid_out(p, sweep.heights, depths, landings)

    def _gone_down(self, reach: Reach | None) -> bool:
        """Fill the tables, from the uppermost riser down.

        False where that was given up, as nothing that comes of it can be the best.
        """
        p, shape = self.problem, (len(self.passed), self.width)
        most = None if p.flight_most is None else max(p.flight_least, min(p.flight_most, p.searched))
        flights = Flights(p.flight_least, most, shape)
        treads_above, ends = np.zeros(shape), np.full(shape, np.inf)
        for k, rows, sums, treads in self._measured():
            landing = self._landing(k, rows, sums)
            if self.places.wishes:
                flights.bar(self._barred_treads(k))
            above = treads_above[rows]
            above += treads
            end = np.subtract(landing, above, out=self.end[k, rows])
            flights.end_with(end, rows)
            self.tables[k] = Table(rows, sums, above + flights.cheapest(rows))
            if reach is not None:
                np.minimum(ends[rows], end, out=ends[rows])
                if k % EVERY == 0 and reach.hopeless(k, self.stack.over.begin[rows], above + ends[rows]):
                    return False
        return True

    def _measured(self) -> Iterator[tuple[int, slice, Floats, Floats]]:
        """From the uppermost riser down: rows that can be, areas from its line to each grid line, cost of a tread."""
        block = max(1, AT_ONCE // (len(self.passed) * self.stack.over.length))
        for high in range(self.problem.searched, 0, -block):
            low = max(1, high - block + 1)
            rows = self._possible(low, high)
            sums = self.stack.sums(low, high, rows)
            treads = self._treads(sums, low, rows)
            for i in range(high - low, -1, -1):
                yield low + i, rows, sums[i], treads[i]

    def _possible(self, low: int, high: int) -> slice:
        """The rows of a single sweep that can be there: no more landings passed, or to come, than there are risers."""
        if len(self.sweeps) > 1 or not self.counted:
            return slice(0, len(self.passed))
        fewest = self.sweeps[0].uppermost[0].passed
        return slice(max(0, fewest - (self.problem.searched - low)), min(len(self.passed), high))

    def _treads(self, sums: Floats, low: int, rows: slice) -> Floats:
        """Cost of a tread from each column on, behind risers from `low` on."""
        p, (fall, landing_fall) = self.problem, self.sweeps[0].heights.slopes
        if self.spans is None:
            return sums[..., p.tread : p.tread + self.width] - sums[..., : self.width]
        risers = np.arange(low, low + len(sums))
        firsts = self.stack.firsts(risers)[:, rows]
        x = (firsts[..., None] + self.columns) * p.grid_m
        return self.spans.areas(self.stack.levels_m(risers)[:, rows, None] + (landing_fall - fall) * x, firsts)

    def _landing(self, k: int, rows: slice, sums: Floats) -> Floats:
        """Least cost of a landing behind riser k and all that follows it."""
        if k < self.problem.searched:
            best = self._lower_landing(k, self._onward(k, rows, sums))
        else:
            best = np.full((len(sums), self.width), np.inf)
        for place, row in enumerate(self.at - rows.start):
            if 0 <= row < len(best):
                ways = self._uppermost(k, place)
                best[row, ways] = np.minimum(best[row, ways], sums[row, self.whole[place]] + self.above[k, place])
        best -= sums[:, : self.width]
        best += TIE_M2
        return best

    def _onward(self, k: int, rows: slice, sums: Floats) -> Floats:
        """Cost from the riser's line on of a landing to each column that is not the uppermost, and what follows."""
        reach = slice(self.shift + self.problem.tread, self.shift + self.problem.tread + self.width)
        after = self.tables[k + 1]
        if not self.counted:
            return sums[:, reach] + after.begin
        low, high = max(rows.start + 1, after.rows.start), min(rows.stop + 1, after.rows.stop)
        onward = np.full((len(sums), self.width), np.inf)
        to = slice(low - 1 - rows.start, high - 1 - rows.start)
        np.add(sums[to, reach], after.begin[low - after.rows.start : high - after.rows.start], out=onward[to])
        if len(self.sweeps) > 1:
            onward[self.first[1:] - 1] = np.inf
        return onward

    def _lower_landing(self, k: int, onward: Floats) -> Floats:
        """For each column, the least `onward` that a landing from there may reach."""
        step, gap = self.problem.landing_step, self.least - self.shift
        if self.places.free and not gap:
            return running_least(onward, step)
        best = np.full(onward.shape, np.inf)
        if self.places.free:
            best[:, : max(0, self.width - gap)] = running_least(onward, step)[:, gap:]
            return best
        for window in self.places.windows(k):
            starts = np.arange(window.begin, window.end + 1)
            first = np.maximum(starts + window.need, window.low)
            first += (starts + gap - first) % step
            inside = first <= window.high
            at = starts[inside]
            reach = running_least(onward[:, window.low : window.high + 1], step)
            best[:, at] = np.minimum(best[:, at], reach[:, first[inside] - window.low])
        return best

    def _uppermost(self, k: int, place: int) -> slice | NDArray[np.bool_]:
        """From which columns of its row an uppermost landing may begin behind riser k."""
        p, end = self.problem, int(self.ends[place])
        ways = slice(end % p.landing_step, end + 1, p.landing_step)
        if self.places.free:
            return ways
        may = np.zeros(self.width, bool)
        may[ways] = True
        return may & ~self.places.barred_landings(
            self._stations_m(k - 1), np.full(self.width, k * p.tread_m + p.excess_m)
        )

    def _stations_m(self, treads: int) -> Floats:
        """Where each column stands after so many treads; only asked where rows are not shifted."""
        return np.asarray((treads * self.problem.tread + self.columns) * self.problem.grid_m, np.float64)

    def _barred_treads(self, k: int) -> NDArray[np.bool_]:
        return self.places.barred_treads(self._stations_m(k - 1), self.problem.tread_m)

    def _above(self) -> Floats:
        """What follows each uppermost landing behind riser k (rows), and what that takes below one cell."""
        p, (fall, slope) = self.problem, self.sweeps[0].heights.slopes
        risers = np.arange(p.searched + 1)
        costs = np.zeros((p.searched + 1, len(self.exits)))
        if p.searched > 1:
            x = np.asarray(risers[1:-1] * p.tread_m + p.excess_m, np.float64)
            ends = np.append(x[1:], p.run_m - (p.last_m or 0.0))
            each = [(one.sweep.heights, (one.way.passed + 1) * self.counted) for one in self.exits]
            first, more = levels_of(each, slope)
            treads = self._areas(x, ends, first[:, None] + more[:, None] * risers[1:-1] + slope * x, fall)
            treads[:, self.places.barred_treads(x, p.tread_m)] = np.inf
            costs[1:-1] = np.cumsum(treads[:, ::-1], axis=1)[:, ::-1].T
        if p.remainder_m:
            x = np.asarray((risers[1:] * p.tread + p.excess) * p.grid_m, np.float64)
            levels = self.stack.levels_m(risers[1:])[:, self.at].T
            costs[1:] += self._areas(x, x + p.remainder_m, levels + slope * x, slope).T
        flight = (p.risers - risers)[:, None]
        allowed = (flight == 0) | ((flight >= p.flight_least) & (flight <= (p.flight_most or p.risers)))
        here = [flight >= 0 if one.way.at_end is None else (flight == 0) == one.way.at_end for one in self.exits]
        costs[~(allowed & np.hstack(here))] = np.inf
        return costs

    def _areas(self, begins: Floats, ends: Floats, heights: Floats, slope: float) -> Floats:
        above, below = self.problem.line.areas(begins, ends, heights, np.full(len(begins), slope))
        return np.asarray(self.problem.weights[0] * above + self.problem.weights[1] * below)

    def _walk(self, row: int) -> tuple[list[float], list[bool]]:
        """Depths from the foot on: of all within the budget, the lowest riser lines."""
        p, tread_m = self.problem, self.problem.tread_m
        depths: list[float] = []
        landings: list[bool] = []
        k, column, spare = 1, 0, BUDGET_M2
        while True:
            k, spare = self._longest_flight(k, row, column, spare)
            depths += [tread_m] * (k - 1 - len(depths))
            landings += [False] * (k - 1 - len(landings))
            to, spare = self._shortest_landing(k, row, column, spare)
            landings.append(True)
            shifted = int(self.passed[row]) * self.shift
            if to is None:
                depths.append(tread_m + (p.excess - column - shifted) * p.grid_m + p.remainder_m)
                rest = p.searched - k
                return depths + [tread_m] * rest, landings + [False] * rest
            depths.append(tread_m + (to + self.shift - column) * p.grid_m)
            k, row, column = k + 1, row + self.counted, to

    def _longest_flight(self, k: int, row: int, column: int, spare: float) -> tuple[int, float]:
        """The last riser of the flight that begins with k: the furthest that costs no more than there is to spare."""
        p = self.problem
        last = min(p.searched, k + (p.flight_most or p.searched) - 1)
        barred = [i for i in range(k, last) if self.places.wishes and self._barred_treads(i)[column]]
        last = min([last, *barred])
        first = k + p.flight_least - 1
        costs = self.end[first : last + 1, row, column]
        least = costs.min()
        chosen = int(np.flatnonzero(costs <= least + spare)[-1])
        return first + chosen, spare - float(costs[chosen] - least)

    def _shortest_landing(self, k: int, row: int, column: int, spare: float) -> tuple[int | None, float]:
        """The column after the shortest landing that costs no more than there is to spare; None for the uppermost."""
        p, table = self.problem, self.tables[k]
        sums = table.sums[row - table.rows.start]
        uppermost = np.inf
        for place in map(int, np.flatnonzero(self.at == row)):
            if column in self.columns[self._uppermost(k, place)]:
                uppermost = sums[self.whole[place]] + self.above[k, place]
        if k == p.searched or (self.counted and row + 1 in self.first):
            return None, spare
        after = self.tables[k + 1]
        onward = after.begin[row + self.counted - after.rows.start]
        costs = sums[self.shift + p.tread :][: self.width] + onward
        costs[~self._reached(k, column)] = np.inf
        least = min(uppermost, costs.min())
        within = np.flatnonzero(costs <= least + spare)
        if not within.size:
            return None, spare
        return int(within[0]), spare - float(costs[within[0]] - least)

    def _reached(self, k: int, column: int) -> NDArray[np.bool_]:
        """Which columns a landing behind riser k may reach that is not the uppermost."""
        p, gap = self.problem, self.least - self.shift
        more = self.columns - column - gap
        reached = (more >= 0) & (more % p.landing_step == 0)
        if not self.places.free:
            begin_m = np.full(self.width, self._stations_m(k - 1)[column])
            reached &= ~self.places.barred_landings(begin_m, self._stations_m(k))
        return np.asarray(reached)


def running_least(values: Floats, step: int) -> Floats:
    """For each column, the least of the values at it and every `step` further on."""
    if step == 1:
        return np.asarray(np.minimum.accumulate(values[:, ::-1], axis=1)[:, ::-1])
    rows, columns = values.shape
    turns = -(-columns // step)
    padded = np.full((rows, turns * step), np.inf)
    padded[:, :columns] = values
    table = padded.reshape(rows, turns, step)
    return np.asarray(np.minimum.accumulate(table[:, ::-1], axis=1)[:, ::-1].reshape(rows, -1)[:, :columns])
