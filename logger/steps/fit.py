"""How closely a surface follows the ground: exact areas between straight surfaces and ground linear between points.

Cells run between neighbouring breaks (grid lines and ground points together). Within a cell the gap, ground less
surface, is linear; where it changes sign the cell is split at the crossing:

    gap a at one end, b at the other, width h, signs equal      h * (|a| + |b|) / 2, all above or all below
                                              signs different    h * a*a / (2*|a - b|) and h * b*b / (2*|a - b|)
"""

import numpy as np

from logger.profile import Floats, Ground


class Line:
    """The ground along the run, stations counted from the foot."""

    def __init__(self, ground: Ground, start_m: float) -> None:
        self.stations_m = ground.stations_m - start_m
        self.elevations_m = ground.elevations_m

    def at(self, stations_m: Floats) -> Floats:
        """Elevations, level beyond the ends."""
        return np.interp(stations_m, self.stations_m, self.elevations_m)

    def areas(self, begins: Floats, end_m: float, heights: Floats, slopes: Floats) -> tuple[Floats, Floats]:
        """Areas of ground above and below each of a row of surfaces, one beginning where the last ends.

        `begins`, `heights` and `slopes` (m,) are where each begins, how high it stands there, and its slope.
        """
        inside = self.stations_m[(self.stations_m > begins[0]) & (self.stations_m < end_m)]
        x = np.unique(np.concatenate((begins, inside, [end_m])))
        owner = np.searchsorted(begins, x[:-1], "right") - 1
        ground = self.at(x)
        lines = heights - slopes * begins
        a = ground[:-1] - (lines[owner] + slopes[owner] * x[:-1])
        b = ground[1:] - (lines[owner] + slopes[owner] * x[1:])
        half = np.diff(x) / 2
        count = len(begins)
        above = np.bincount(owner, between(a, b, half, (1.0, 0.0)), count).astype(np.float64)
        below = np.bincount(owner, between(a, b, half, (0.0, 1.0)), count).astype(np.float64)
        return above, below


def between(a: Floats, b: Floats, half: Floats, weights: tuple[float, float]) -> Floats:
    """Weighted area of cells from the gaps at their two ends, all of one shape."""
    above, below = weights
    crossed = (a < 0) != (b < 0)
    first = np.where(a < 0, below, above)
    split = first * a * a + (above + below - first) * b * b
    ends = (above + below) * (np.maximum(a, 0.0) + np.maximum(b, 0.0)) - below * (a + b)
    return np.asarray(half * np.where(crossed, split / np.abs(np.where(crossed, a - b, 1.0)), ends))


def cells(gap: Floats, half: Floats, above: float, below: float) -> Floats:
    """Weighted area of each cell from the gaps at its ends; `gap` (s, m), `half` the half widths (m-1,)."""
    value = np.maximum(gap, 0.0)
    value *= above + below
    value -= below * gap
    areas = value[:, 1:] + value[:, :-1]
    areas *= half
    under = gap < 0
    changed = np.flatnonzero(under[:, 1:] != under[:, :-1])
    if changed.size:
        rows, crossed = np.divmod(changed, areas.shape[1])
        areas[rows, crossed] = between(gap[rows, crossed], gap[rows, crossed + 1], half[crossed], (above, below))
    return areas


class Lattice:
    """The ground cut at every grid line, for many surfaces of one slope or two.

    `count` grid cells of `grid_m` from the foot. All stations are counted from the foot.
    """

    def __init__(self, line: Line, grid_m: float, count: int, weights: tuple[float, float]) -> None:
        grid = np.arange(count + 1) * grid_m
        inside = line.stations_m[(line.stations_m > 0) & (line.stations_m < grid[-1])]
        self.x = np.union1d(grid, inside)
        self.index = np.searchsorted(self.x, grid)
        self.on_grid = len(self.x) == len(grid)
        self.half = np.diff(self.x) / 2
        self.grid_m = grid_m
        self.weights = weights
        self.ground = line.at(self.x)
        self._leaned: dict[float, Floats] = {}
        self._extents: dict[tuple[float, int], tuple[Floats, Floats, Floats]] = {}

    def leaned(self, slope: float) -> Floats:
        """The ground less a plane of this slope through the foot."""
        if slope not in self._leaned:
            self._leaned[slope] = self.ground - slope * self.x
        return self._leaned[slope]

    def prefix(self, levels_m: Floats, slope: float, first: int, last: int) -> Floats:
        """Weighted area from grid line `first` to each up to `last`, one row a surface `level + slope * x`."""
        begin, end = self.index[first], self.index[last] + 1
        gap = self.leaned(slope)[begin:end] - levels_m[:, None]
        areas = cells(gap, self.half[begin : end - 1], *self.weights)
        sums = np.empty_like(gap)
        sums[:, 0] = 0.0
        np.cumsum(areas, axis=1, out=sums[:, 1:])
        return sums if self.on_grid else sums[:, self.index[first : last + 1] - begin]

    def windows(self, levels_m: Floats, slope: float, first: int, length: int) -> Floats:
        """Weighted area over `length` cells from each grid line on (columns), each under a level of its own.

        Where the ground stays on one side of the level the area is that of the ground less that of the level; only
        windows that it crosses are cut into cells.
        """
        leaned, above, below = self.leaned(slope), *self.weights
        least, most, sums = self._extent(slope, length)
        count = levels_m.shape[1]
        these = slice(first, first + count)
        begin, end = self.index[these], self.index[first + length : first + length + count]
        signed = sums[end] - sums[begin] - levels_m * (length * self.grid_m)
        areas = np.where(signed > 0, above * signed, -below * signed)
        rows, mixed = np.nonzero((least[these] < levels_m) & (most[these] > levels_m))
        if mixed.size:
            start, stop = begin[mixed], end[mixed]
            widest = int((stop - start).max())
            at = np.minimum(start + np.arange(widest + 1)[:, None], stop)
            gap = leaned[at] - levels_m[rows, mixed]
            halves = np.diff(self.x[at], axis=0) / 2
            areas[rows, mixed] = between(gap[:-1], gap[1:], halves, self.weights).sum(axis=0)
        return areas

    def _extent(self, slope: float, length: int) -> tuple[Floats, Floats, Floats]:
        """Least and most of the leaned ground over each window of `length` cells, and its area from the foot on."""
        if (slope, length) not in self._extents:
            leaned = self.leaned(slope)
            starts = self.index[: len(self.index) - length]
            ends = self.index[length:]
            spans = np.ravel(np.column_stack((starts, ends + 1)))
            padded = np.append(leaned, leaned[-1])
            least = np.minimum.reduceat(padded, spans)[::2]
            most = np.maximum.reduceat(padded, spans)[::2]
            sums = np.concatenate(([0.0], np.cumsum((leaned[1:] + leaned[:-1]) * self.half)))
            self._extents[slope, length] = least, most, sums
        return self._extents[slope, length]
