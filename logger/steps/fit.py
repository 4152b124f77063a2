"""How closely a surface follows the ground: exact areas between straight surfaces and ground linear between points.

Over a piece where the gap, ground less surface, is linear, from a at one end to b at the other, width h:

    over  = max(a, 0) + max(b, 0)      above = h/2 * over**2 / (over + under)
    under = over - (a + b)             below = h/2 * under**2 / (over + under)

Where the signs are equal one of the two is nothing; where they differ the gap is split at the crossing.
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from logger.profile import Floats, Ground

Indexes = NDArray[np.intp]

NOTHING = 1e-300
"""Stands for zero where it would divide."""

ROUNDING = 1e-9
"""So much more or less than a whole riser is that riser."""

FLAT_M = 1e-9
"""Ground that rises less than this over a piece is taken as level there."""


class Line:
    """The ground along the run, stations counted from the foot."""

    def __init__(self, ground: Ground, start_m: float) -> None:
        self.stations_m = ground.stations_m - start_m
        self.elevations_m = ground.elevations_m
        self._lattices: dict[tuple[float, int, tuple[float, float]], Lattice] = {}

    def at(self, stations_m: Floats) -> Floats:
        """Elevations, level beyond the ends."""
        return np.interp(stations_m, self.stations_m, self.elevations_m)

    def areas(self, begins: Floats, ends: Floats, heights: Floats, slopes: Floats) -> tuple[Floats, Floats]:
        """Areas of ground above and below each of a row of surfaces that do not overlap.

        `begins`, `ends` and `slopes` (m,) say where each lies and how it leans, `heights` (m,) or (s, m) how high it
        stands at its beginning, for one set of surfaces or several.
        """
        inside = self.stations_m[(self.stations_m > begins[0]) & (self.stations_m < ends[-1])]
        x = np.unique(np.concatenate((begins, inside, ends)))
        owner = np.searchsorted(begins, x[:-1], "right") - 1
        ground, along = self.at(x), slopes[owner]
        lines = (heights - slopes * begins)[..., owner]
        a = ground[:-1] - (lines + along * x[:-1])
        b = ground[1:] - (lines + along * x[1:])
        half = np.where(x[:-1] < ends[owner], np.diff(x) / 2, 0.0)
        first = np.searchsorted(owner, np.arange(len(begins)))
        above, below = between(a, b, half)
        return np.add.reduceat(above, first, axis=-1), np.add.reduceat(below, first, axis=-1)

    def lattice(self, grid_m: float, count: int, weights: tuple[float, float]) -> "Lattice":
        """The ground cut at so many grid lines, once for all who ask."""
        key = (grid_m, count, weights)
        if key not in self._lattices:
            self._lattices[key] = Lattice(self, grid_m, count, weights)
        return self._lattices[key]


def between(a: Floats, b: Floats, half: Floats) -> tuple[Floats, Floats]:
    """Areas of pieces above and below the surface, from the gaps at their two ends and half their widths."""
    over = np.maximum(a, 0.0) + np.maximum(b, 0.0)
    under = over - (a + b)
    share = half / np.maximum(over + under, NOTHING)
    return over * over * share, under * under * share


class Lattice:
    """The ground cut at every grid line: `count` cells of `grid_m` from the foot, stations counted from there.

    A cell with ground points inside is several pieces. Surfaces are levels, the ground leaned back by their slope.
    """

    def __init__(self, line: Line, grid_m: float, count: int, weights: tuple[float, float]) -> None:
        grid = np.arange(count + 1) * grid_m
        inside = line.stations_m[(line.stations_m > 0) & (line.stations_m < grid[-1])]
        self.x = np.union1d(grid, inside)
        self.index = np.searchsorted(self.x, grid)
        self.count, self.grid_m, self.weights = count, grid_m, weights
        self.ground = line.at(self.x)
        self._strips: dict[float, Strip] = {}
        self._spans: dict[tuple[float, int], Spans] = {}

    def strip(self, slope: float) -> "Strip":
        """The ground as surfaces of one slope see it."""
        if slope not in self._strips:
            self._strips[slope] = Strip(self, slope)
        return self._strips[slope]

    def spans(self, slope: float, length: int) -> "Spans":
        """The same for surfaces that are all of one length."""
        if (slope, length) not in self._spans:
            self._spans[slope, length] = Spans(self, slope, length)
        return self._spans[slope, length]

    def pieces(self, begin: Indexes, end: Indexes) -> Indexes:
        """Nodes of the cells from one grid line to another, a row each; the last is repeated where a row is short."""
        start, stop = self.index[begin], self.index[end]
        most = int((stop - start).max(initial=1))
        return np.asarray(np.minimum(start[:, None] + np.arange(most + 1), stop[:, None]))


class Strip:
    """The ground less a plane of one slope through the foot, cell by cell; beyond the end there is none."""

    def __init__(self, lattice: Lattice, slope: float) -> None:
        self.lattice = lattice
        self.leaned = lattice.ground - slope * lattice.x
        edges = lattice.index[:-1]
        areas = (self.leaned[1:] + self.leaned[:-1]) * np.diff(lattice.x) / 2
        low, high = np.minimum(self.leaned[1:], self.leaned[:-1]), np.maximum(self.leaned[1:], self.leaned[:-1])
        beyond = np.zeros(lattice.count)
        self.areas = np.concatenate((np.add.reduceat(areas, edges), beyond))
        self.least = np.concatenate((np.minimum.reduceat(low, edges), beyond + np.inf))
        self.most = np.concatenate((np.maximum.reduceat(high, edges), beyond - np.inf))

    def crossings(self, levels: tuple[Floats, Floats], over: "Cells") -> tuple[Indexes, Indexes, Indexes]:
        """Where the ground passes through a level within a cell: risers in order, rows and cells."""
        count, (first_m, more_m) = self.lattice.count, levels
        more_m = np.where(np.abs(more_m) < FLAT_M, FLAT_M, more_m)
        reached = (self.least[:count] - first_m[:, None]) / more_m[:, None]
        left = (self.most[:count] - first_m[:, None]) / more_m[:, None]
        if more_m.min() < 0:
            reached, left = np.minimum(reached, left), np.maximum(reached, left)
        low, high = np.ceil(reached - ROUNDING), np.floor(left + ROUNDING)
        rows, cells = np.nonzero(low <= high)
        further = cells - over.begin[rows]
        first = np.maximum((further - over.length) // over.pitch + 2, 1)
        last = np.minimum(further // over.pitch + 1, over.risers)
        low = np.maximum(low[rows, cells] + 1, first).astype(np.intp)
        counts = np.maximum(np.minimum(high[rows, cells] + 1, last).astype(np.intp) - low + 1, 0)
        rows, at = np.repeat(rows, counts), np.repeat(cells, counts)
        risers = np.repeat(low - (np.cumsum(counts) - counts), counts) + np.arange(len(at))
        order = np.argsort(risers, kind="stable")
        return risers[order], rows[order], at[order]


@dataclass(frozen=True, slots=True)
class Cells:
    """Cells behind each riser: of row r `length` of them from `begin[r] + (riser - 1) * pitch` on."""

    begin: Indexes
    pitch: int
    length: int
    risers: int


class Stack:
    """Levels one above the other: of each row behind riser k, `first + (k - 1) * more`, over the same cells further on.

    Cells that the ground crosses are measured once for all.
    """

    def __init__(self, strip: Strip, levels: tuple[Floats, Floats], over: Cells) -> None:
        self.lattice, self.over = strip.lattice, over
        self.first_m, self.more_m = levels
        self.windows = sliding_window_view(strip.areas, over.length)
        self.crossed = risers, rows, cells = strip.crossings(levels, over)
        at = self.lattice.pieces(cells, cells + 1)
        gap = strip.leaned[at] - (self.first_m[rows] + (risers - 1) * self.more_m[rows])[:, None]
        above, below = between(gap[:, :-1], gap[:, 1:], np.diff(self.lattice.x[at]) / 2)
        self.split = (self.lattice.weights[0] * above + self.lattice.weights[1] * below).sum(axis=1)

    def levels_m(self, risers: Indexes) -> Floats:
        """Level of each row (second axis) behind each riser."""
        return self.first_m + (risers - 1)[:, None] * self.more_m

    def firsts(self, risers: Indexes) -> Indexes:
        """The cell in which each row begins behind each riser."""
        return self.over.begin + (risers - 1)[:, None] * self.over.pitch

    def sums(self, low: int, high: int, rows: slice) -> Floats:
        """Weighted area under each row (second axis) of each riser (first) from its beginning to each grid line."""
        risers, (above, below) = np.arange(low, high + 1), self.lattice.weights
        firsts = self.firsts(risers)[:, rows]
        signed = self.windows[firsts]
        signed -= self.levels_m(risers)[:, rows, None] * self.lattice.grid_m
        sums = np.empty((*firsts.shape, self.over.length + 1))
        sums[..., 0] = 0.0
        cells = np.multiply(signed, above, out=sums[..., 1:])
        signed *= -below
        np.maximum(cells, signed, out=cells)
        at, row, crossed = self.crossed
        these = np.arange(*np.searchsorted(at, (low, high + 1)))
        these = these[(row[these] >= rows.start) & (row[these] < rows.stop)]
        riser, own = at[these] - low, row[these] - rows.start
        cells[riser, own, crossed[these] - firsts[riser, own]] = self.split[these]
        return np.cumsum(sums, axis=-1, out=sums)


class Spans:
    """Area over every window of so many cells, as the function of the level that it is: quadratic between heights.

    Raised by h, a level takes in the width of the ground below it more per metre; that width grows evenly while the
    level passes through a piece of ground. Columns are the heights at which pieces begin or end, in order.
    """

    def __init__(self, lattice: Lattice, slope: float, length: int) -> None:
        leaned, self.weights = lattice.strip(slope).leaned, lattice.weights
        begin = np.arange(max(0, lattice.count - length + 1))
        at = lattice.pieces(begin, begin + length)
        a, b, width = leaned[at[:, :-1]], leaned[at[:, 1:]], np.diff(lattice.x[at])
        low, high = np.minimum(a, b), np.maximum(a, b)
        flat = high - low < FLAT_M
        growth = np.where(flat, 0.0, width / np.where(flat, 1.0, high - low))
        at_once = np.where(flat, width, 0.0)
        heights = np.concatenate((low, high), axis=1)
        order = np.argsort(heights, axis=1)
        self.heights = np.take_along_axis(heights, order, axis=1)
        self.growth = np.cumsum(np.take_along_axis(np.concatenate((growth, -growth), axis=1), order, axis=1), axis=1)
        steps = np.take_along_axis(np.concatenate((at_once, np.zeros_like(at_once)), axis=1), order, axis=1)
        rises = np.diff(self.heights, axis=1)
        self.widths = np.cumsum(steps, axis=1)
        self.widths[:, 1:] += np.cumsum(self.growth[:, :-1] * rises, axis=1)
        self.below = np.zeros_like(self.heights)
        more = (self.widths[:, :-1] + self.growth[:, :-1] * rises / 2) * rises
        np.cumsum(more, axis=1, out=self.below[:, 1:])
        beyond = np.zeros(lattice.count)
        self.ground = np.concatenate((((a + b) / 2 * width).sum(axis=1), beyond))
        self.least = np.concatenate((self.heights[:, 0], beyond + np.inf))
        self.most = np.concatenate((self.heights[:, -1], beyond - np.inf))
        self.lowest, self.apart = float(leaned.min()), float(np.ptp(leaned)) + 1.0
        """Rows stand behind each other, this far apart, for one search through all of them."""
        self.keys = (self.heights - self.lowest + self.apart * begin[:, None]).ravel()
        self.width = length * lattice.grid_m

    def areas(self, levels_m: Floats, firsts: Indexes) -> Floats:
        """Weighted area of the windows from each of `firsts` on (last axis), each under a level of its own."""
        weight_above, weight_below = self.weights
        columns = levels_m.shape[-1]
        ground, least, most = (sliding_window_view(a, columns)[firsts] for a in (self.ground, self.least, self.most))
        signed = ground - levels_m * self.width
        areas = np.maximum(weight_above * signed, -weight_below * signed)
        crossed = np.nonzero((least < levels_m) & (most > levels_m))
        levels, windows = levels_m[crossed], firsts[crossed[:-1]] + crossed[-1]
        place = np.searchsorted(self.keys, levels - self.lowest + self.apart * windows, "right") - 1
        place = np.maximum(place, windows * self.heights.shape[1])
        more = levels - self.heights.ravel()[place]
        below = self.below.ravel()[place] + (self.widths.ravel()[place] + self.growth.ravel()[place] * more / 2) * more
        areas[crossed] = weight_above * signed[crossed] + (weight_above + weight_below) * below
        return np.asarray(areas)
