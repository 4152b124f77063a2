"""One layout as the search found it: depths in order, which of them are landings, and the surface they make."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.steps.problem import Heights, Problem

TIE_M2 = 1e-12
"""Fits closer than this are the same."""


@dataclass(frozen=True, slots=True)
class Depth:
    """One depth behind a riser; `station_m` is that of its riser, counted from the foot; `top_m` the height there."""

    station_m: float
    depth_m: float
    top_m: float
    slope: float
    is_landing: bool


@dataclass(frozen=True, slots=True)
class Layout:
    """A whole layout; `stations_m`, `tops_m` and `faces_m` have one entry a riser."""

    problem: Problem
    heights: Heights
    depths: tuple[Depth, ...]
    stations_m: tuple[float, ...]
    tops_m: tuple[float, ...]
    faces_m: tuple[float, ...]
    above_m2: float
    below_m2: float

    @property
    def fit_m2(self) -> float:
        """Weighted area between finished surface and ground."""
        above, below = self.problem.weights
        return above * self.above_m2 + below * self.below_m2

    @property
    def rise_m(self) -> float:
        """From the grade at the foot to the finished height at the end."""
        return sum(self.faces_m) + sum(depth.slope * depth.depth_m for depth in self.depths)

    @property
    def landings(self) -> int:
        """How many of the depths are landings."""
        return sum(depth.is_landing for depth in self.depths)

    def before(self, other: "Layout") -> bool:
        """Whether this one is the better: less fit, else fewer landings, else the lower faces."""
        if abs(self.fit_m2 - other.fit_m2) > TIE_M2:
            return self.fit_m2 < other.fit_m2
        return (self.landings, self.stations_m) < (other.landings, other.stations_m)


def laid_out(problem: Problem, heights: Heights, depths_m: Sequence[float], landings: Sequence[bool]) -> Layout:
    """Stand the depths on each other and measure the surface against the ground."""
    x, height, before_is_landing = 0.0, heights.foot_m, True
    stations, tops, faces, depths = [], [], [], []
    for k in range(problem.risers):
        face = heights.first_m if before_is_landing else heights.other_m
        height += face
        stations.append(x)
        tops.append(height)
        faces.append(face)
        if k < len(depths_m):
            slope = heights.landing_fall if landings[k] else heights.fall
            depths.append(Depth(x, depths_m[k], height, slope, landings[k]))
            x, height, before_is_landing = x + depths_m[k], height + slope * depths_m[k], landings[k]
    if problem.top_is_grade:
        stations[-1] = problem.run_m
    above_m2, below_m2 = measured(problem, depths, x)
    return Layout(
        problem,
        heights,
        tuple(depths),
        tuple(stations),
        tuple(tops),
        tuple(faces),
        above_m2,
        below_m2,
    )


def measured(problem: Problem, depths: Sequence[Depth], end_m: float) -> tuple[float, float]:
    """Areas of ground above and below the surface of all depths."""
    if not depths:
        return 0.0, 0.0
    begins = np.array([depth.station_m for depth in depths])
    heights = np.array([depth.top_m for depth in depths])
    ends = np.append(begins[1:], end_m)
    above, below = problem.line.areas(begins, ends, heights, np.array([depth.slope for depth in depths]))
    return float(above.sum()), float(below.sum())
