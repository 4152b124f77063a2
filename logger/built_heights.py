"""Finished steps as observed: heights by riser and place with their covariance, and the decision rule they meet.

A length between heights is a linear form of them, so that what is common to all of them cancels.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import sqrt

import numpy as np

from logger.observation import COVERAGE, Taped
from logger.profile import Floats

RULE = "guard band U = 2 u on both sides of the limit (JCGM 106, 8.3.2)"

Place = tuple[int, str]
FOOT: Place = (0, "back")
"""The walk below the first riser, as a place: the back of a riser 0."""
FOOT_NAME = "foot"
"""Its name as an observed point, where the brief gives none."""


class Status(StrEnum):
    """The three answers of a check with uncertainty."""

    PASS = "pass"
    FAIL = "fail"
    UNSURE = "unsure"


def judge(value_m: float, limit_m: float, u_m: float) -> Status:
    """Whether a value stays at or under a limit, with guarded acceptance and guarded rejection."""
    guard = COVERAGE * u_m
    if value_m <= limit_m - guard:
        return Status.PASS
    return Status.FAIL if value_m > limit_m + guard else Status.UNSURE


def worst(statuses: Iterable[Status]) -> Status:
    """Fail if any fails, pass only if all pass, else unsure."""
    seen = set(statuses)
    if Status.FAIL in seen:
        return Status.FAIL
    return Status.PASS if seen == {Status.PASS} else Status.UNSURE


@dataclass(frozen=True, slots=True)
class Built:
    """Observed heights above the zero by place, with their full covariance (square metres) in the same order.

    `datum` names the zero mark of that walk, empty where it is the plan's by construction; `digest` is the last of its
    session; `doubts` name observations that do not agree with the others, in words.
    """

    places: tuple[Place, ...]
    heights_m: Floats
    covariance_m2: Floats
    faces: tuple[Taped, ...] = ()
    datum: str = ""
    datum_elevation_m: float = 0.0
    digest: str = ""
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Estimate:
    """A length in metres as a linear form of the observed heights, with an independent uncertainty of its own."""

    value_m: float
    weights: Floats
    own_u_m: float = 0.0
    how: str = "level"

    def less(self, other: "Estimate") -> "Estimate":
        """The difference of two."""
        own = sqrt(self.own_u_m**2 + other.own_u_m**2)
        return Estimate(self.value_m - other.value_m, self.weights - other.weights, own, self.how)


@dataclass
class Levels:
    """The heights of one walk over the steps, asked by riser and place."""

    built: Built
    index: Mapping[Place, int] = field(init=False)

    def __post_init__(self) -> None:
        self.index = {place: i for i, place in enumerate(self.built.places)}

    def form(self, parts: Mapping[Place, float]) -> Estimate | None:
        """A weighted sum of observed heights; None if one of them was not observed."""
        if any(place not in self.index for place in parts):
            return None
        weights = np.zeros(len(self.built.places))
        for place, weight in parts.items():
            weights[self.index[place]] += weight
        return Estimate(float(weights @ self.built.heights_m), weights)

    def front(self, riser: int) -> Estimate | None:
        """Height of a nosing: at the centre, else the mean of left and right."""
        return self.form({(riser, "front"): 1.0}) or self.form({(riser, "left"): 0.5, (riser, "right"): 0.5})

    def u_m(self, of: Estimate) -> float:
        """Standard uncertainty of a length between heights."""
        return sqrt(max(0.0, float(of.weights @ self.built.covariance_m2 @ of.weights)) + of.own_u_m**2)

    def taped(self, riser: int) -> Estimate | None:
        """A face by tape and spirit level, the mean where it was measured more than once."""
        seen = [f for f in self.built.faces if f.riser == riser and not f.struck]
        if not seen:
            return None
        mean, own = sum(f.length_m for f in seen) / len(seen), sqrt(sum(f.u_m**2 for f in seen)) / len(seen)
        return Estimate(mean, np.zeros(len(self.built.places)), own, "tape and spirit level")
