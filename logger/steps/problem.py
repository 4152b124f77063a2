"""One question to the search: so many risers on this line, with these depths to choose from.

Stations are counted from the foot. A depth is a tread of `tread` cells, or a landing of at least `landing` cells that
grows by `landing_step` cells (1: any depth on the grid). `excess` is what the depths must take up beyond all treads,
in whole cells, and `remainder_m` what is left below one.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from logger.steps.fit import Line
from logger.steps.tables import Equal

SAME_M = 1e-6
"""Lengths closer than this are the same."""


@dataclass(frozen=True, slots=True)
class Wish:
    """A station that must lie on a landing of at least this depth."""

    station_m: float
    depth_m: float


@dataclass(frozen=True, slots=True)
class Zone:
    """A stretch on which no landing may lie."""

    begin_m: float
    end_m: float


@dataclass(frozen=True, slots=True)
class Problem:
    """What is fixed before the search; lengths in metres, `tread`, `landing` and `landing_step` in grid cells.

    `last_m` is the depth of the last tread where it was told; it then stands apart from the depths searched.
    `uppermost` is the least of the uppermost landing in cells where what is left below one cell makes up for it.
    """

    line: Line
    rise_m: float
    run_m: float
    foot_m: float
    risers: int
    top_is_grade: bool
    tread_m: float
    grid_m: float
    tread: int
    landing: int
    landing_step: int = 1
    fall: float = 0.0
    landing_fall: float = 0.0
    equal: Equal = Equal.FACE
    last_m: float | None = None
    last_is_landing: bool = False
    flight_most: int | None = None
    flight_least: int = 1
    weights: tuple[float, float] = (1.0, 2.0)
    wishes: tuple[Wish, ...] = ()
    zones: tuple[Zone, ...] = ()
    uppermost: int | None = None

    searched: int = field(init=False)
    excess_m: float = field(init=False)
    excess: int = field(init=False)
    remainder_m: float = field(init=False)

    def __post_init__(self) -> None:
        """Count the depths the search may choose, and what is left of the run when all of them are treads."""
        searched = self.risers - self.top_is_grade - (self.last_m is not None)
        excess_m = self.run_m - (self.last_m or 0.0) - searched * self.tread_m
        excess = int((excess_m + SAME_M) // self.grid_m)
        left_m = excess_m - excess * self.grid_m
        object.__setattr__(self, "searched", searched)
        object.__setattr__(self, "excess_m", excess_m)
        object.__setattr__(self, "excess", excess)
        object.__setattr__(self, "remainder_m", left_m if abs(left_m) > SAME_M else 0.0)

    @property
    def least_excess(self) -> int:
        """What one landing, the uppermost, takes at least beyond a tread, in cells."""
        return (self.landing if self.uppermost is None else self.uppermost) - self.tread

    def landing_sum_m(self, landings: int) -> float:
        """Sum of all landing depths, given how many of the searched depths are landings."""
        treads = (self.searched - landings) * self.tread_m
        last = 0.0 if self.last_m is None or self.last_is_landing else self.last_m
        return 0.0 if landings == 0 and not self.last_is_landing else self.run_m - treads - last


@dataclass(frozen=True, slots=True)
class Heights:
    """The face of the first riser of each flight and of every other, and the surface they make.

    `alone` says that every riser is the first of a flight.
    """

    foot_m: float
    first_m: float
    other_m: float
    tread_m: float
    fall: float
    landing_fall: float
    alone: bool = False

    @property
    def face_m(self) -> float:
        """The face of the risers, of the first ones where there are no others."""
        return self.first_m if self.alone else self.other_m

    @property
    def rise_m(self) -> float:
        """From nosing to nosing within a flight."""
        return self.other_m + self.fall * self.tread_m

    @property
    def slopes(self) -> tuple[float, float]:
        """Slope of treads and of landings."""
        return self.fall, self.landing_fall

    def like(self, other: "Heights") -> bool:
        """Whether the faces are the same."""
        return abs(self.first_m - other.first_m) < SAME_M and abs(self.other_m - other.other_m) < SAME_M

    def faces_m(self, riser: int, landings: int) -> float:
        """Sum of the faces up to a riser with so many landings before it."""
        return (landings + 1) * self.first_m + (riser - landings - 1) * self.other_m

    def level_m(self, riser: int, landings: int, slope: float) -> float:
        """Level at the foot of the surface `level + slope * x` behind a riser, for treads of the standard depth."""
        passed_m = (riser - 1 - landings) * self.tread_m
        return self.foot_m + self.faces_m(riser, landings) + (self.fall - slope) * passed_m


class HeightRule(Protocol):
    """How high the faces are, once it is known how many landings and flights there are."""

    staged: bool
    """Whether that matters at all."""

    def heights(self, landings: int, flights: int) -> Heights | None:
        """The heights; None where they are out of bounds."""


def heights_of(problem: Problem, landings: int, flights: int) -> Heights:
    """Equal faces, or equal rises from nosing to nosing, for so many landings and flights."""
    n, p, q = problem.risers, problem.fall, problem.landing_fall
    level_m = problem.landing_sum_m(landings) if p != q else 0.0
    climbed_m = problem.rise_m - p * (problem.run_m - level_m) - q * level_m
    first = other = climbed_m / n
    if problem.equal is Equal.NOSING:
        first = (climbed_m + (n - flights) * p * problem.tread_m) / n
        other = first - p * problem.tread_m
    return Heights(problem.foot_m, first, other, problem.tread_m, p, q, flights == n)


class EqualRisers:
    """Equal risers on one problem, where `admitted` lets the heights pass."""

    def __init__(self, problem: Problem, admitted: Callable[[Heights], bool]) -> None:
        self.problem, self.admitted = problem, admitted
        leaning = problem.equal is Equal.NOSING and problem.fall > 0
        self.staged = leaning or problem.fall != problem.landing_fall

    def heights(self, landings: int, flights: int) -> Heights | None:
        """The heights; None where they are out of bounds."""
        heights = heights_of(self.problem, landings, flights)
        return heights if self.admitted(heights) else None
