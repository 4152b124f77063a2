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

    def breaks(self, begin_m: float, end_m: float) -> Floats:
        """Both ends and the ground points between them, in order."""
        inside = self.stations_m[(self.stations_m > begin_m) & (self.stations_m < end_m)]
        return np.concatenate(([begin_m], inside, [end_m]))

    def areas(self, begin_m: float, end_m: float, height_m: float, slope: float) -> tuple[float, float]:
        """Areas of ground above and below the surface that stands at `height_m` at its beginning."""
        x = self.breaks(begin_m, end_m)
        gap = self.at(x) - (height_m + slope * (x - begin_m))
        half = np.diff(x) / 2
        return float(cells(gap, half, 1.0, 0.0).sum()), float(cells(gap, half, 0.0, 1.0).sum())


def cells(gap: Floats, half: Floats, above: float, below: float) -> Floats:
    """Weighted area of each cell from the gaps at its ends; `gap` (m,), `half` the half widths (m-1,)."""
    value = np.maximum(gap, 0.0)
    value *= above + below
    value -= below * gap
    areas = value[1:] + value[:-1]
    areas *= half
    under = gap < 0
    crossed = np.flatnonzero(under[1:] != under[:-1])
    if crossed.size:
        a, b = gap[crossed], gap[crossed + 1]
        first = np.where(a < 0, below, above)
        areas[crossed] = half[crossed] * (first * a * a + (above + below - first) * b * b) / np.abs(a - b)
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

    def leaned(self, slope: float) -> Floats:
        """The ground less a plane of this slope through the foot."""
        if slope not in self._leaned:
            self._leaned[slope] = self.ground - slope * self.x
        return self._leaned[slope]

    def prefix(self, level_m: float, slope: float, first: int, last: int) -> Floats:
        """Weighted area from grid line `first` to each up to `last`, under the surface `level_m + slope * x`."""
        begin, end = self.index[first], self.index[last] + 1
        areas = cells(self.leaned(slope)[begin:end] - level_m, self.half[begin : end - 1], *self.weights)
        sums = np.empty(len(areas) + 1)
        sums[0] = 0.0
        np.cumsum(areas, out=sums[1:])
        return sums if self.on_grid else sums[self.index[first : last + 1] - begin]

    def windows(self, levels_m: Floats, slope: float, first: int, length: int) -> Floats:
        """Weighted area over `length` cells from each grid line on, each under a level of its own."""
        begin = self.index[first : first + len(levels_m)]
        end = self.index[first + length : first + length + len(levels_m)]
        widest = int((end - begin).max())
        at = np.minimum(begin[:, None] + np.arange(widest + 1), end[:, None])
        gap = (self.leaned(slope)[at] - levels_m[:, None]).T
        above, below = self.weights
        value = (above + below) * np.maximum(gap, 0.0) - below * gap
        half = np.diff(self.x[at].T, axis=0) / 2
        a, b = gap[:-1], gap[1:]
        crossed = (a < 0) != (b < 0)
        first_weight = np.where(a < 0, below, above)
        split = first_weight * a * a + (above + below - first_weight) * b * b
        width = np.abs(np.where(crossed, a - b, 1.0))
        return np.asarray((half * np.where(crossed, split / width, value[1:] + value[:-1])).sum(axis=0))
