"""Depths of finished treads and landings, from nosings observed with their distance or from a tape held level.

A depth runs from nosing to nosing; that of the uppermost step ends at the end of the run. A difference of two distances
along one tape is a linear form of both, so that steps side by side share what one nosing is off.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from math import copysign, hypot, sqrt

import numpy as np

from logger.built_heights import Built, Estimate, Levels, Place, Status, judge
from logger.construction import Part
from logger.observation import Kind, Observation, Tape, Taped
from logger.setout import Mark, SetOut

READ_U_M = 0.0009
"""One distance along a tape: limits of 1 mm reading and 1 mm holding, each over root 3 (common practice)."""
STATIONED = "distances along the tape"
TAPED = "tape from nosing to nosing"
ASKED = "write tread RISER LENGTH, from nosing to nosing, or built RISER front DISTANCE at both nosings"


@dataclass(frozen=True, slots=True)
class BuiltDepth:
    """One tread or landing as built; None where nothing decides it. Lengths in metres."""

    riser: int
    part: Part
    designed_m: float
    built_m: float | None
    u_m: float | None
    status: Status
    how: str


@dataclass(frozen=True, slots=True)
class Distances:
    """Horizontal distances of places on the finished steps, their standard uncertainties, and what is wrong in them."""

    at_m: Mapping[Place, float] = field(default_factory=dict)
    u_m: Mapping[Place, float] = field(default_factory=dict)
    odd: tuple[str, ...] = ()
    treads: tuple[Taped, ...] = ()


NONE = Distances()
"""No distance was read and no tread taped."""


def distances(seen: tuple[Observation, ...], built: Built, tape: Tape, treads: tuple[Taped, ...]) -> Distances:
    """The distances read beside the observations, made level; an order no tape could have is told, not used."""
    read: dict[Place, list[float]] = {}
    for one in seen:
        if one.kind is Kind.BUILT and not one.struck and one.tape_m is not None and one.riser:
            read.setdefault((one.riser, one.place), []).append(one.tape_m)
    tapes = {place: sum(values) / len(values) for place, values in sorted(read.items(), key=_along)}
    odd = tuple(
        f"{_called(high)} is at a lesser distance than {_called(low)}: were the steps taken in another order?"
        for low, high in _climbing(tuple(tapes))
        if tapes[high] < tapes[low]
    )
    if odd:
        return Distances(odd=odd, treads=treads)
    u_m = {place: READ_U_M / sqrt(len(read[place])) for place in tapes}
    return Distances(tapes if tape is Tape.LEVEL else _levelled(tapes, built), u_m, (), treads)


def _along(entry: tuple[Place, list[float]]) -> tuple[int, int]:
    """Places in the order of the climb: the nosing, then its sides, then the back of the step."""
    (riser, place), _ = entry
    return riser, ("front", "left", "right", "back").index(place)


def _climbing(places: tuple[Place, ...]) -> Iterator[tuple[Place, Place]]:
    """Places of which the second lies beyond the first, however far nosings stand out: ends of a nosing do not."""
    nosings, backs = ([p for p in places if (p[1] == "back") is back] for back in (False, True))
    yield from ((low, high) for row in (nosings, backs) for low, high in pairwise(row) if low[0] < high[0])
    yield from ((low, high) for high in backs for low in nosings if low[0] == high[0])


def _called(place: Place) -> str:
    return f"step {place[0]} {place[1]}"


def _levelled(tapes: Mapping[Place, float], built: Built) -> dict[Place, float]:
    """Distances of a tape held from nosing to nosing along the slope, each piece reduced by the heights of its ends.

    The back of a step and the ends of its nosing are measured from that nosing.
    """
    heights = dict(zip(built.places, built.heights_m.tolist(), strict=True))
    level: dict[Place, float] = {}
    nosing: Place | None = None
    for place, along in tapes.items():
        if place not in heights:
            continue
        if nosing is None:
            level[place] = along
        else:
            piece, rise = along - tapes[nosing], heights[place] - heights[nosing]
            level[place] = level[nosing] + copysign(sqrt(max(0.0, piece**2 - rise**2)), piece)
        if nosing is None or nosing[0] < place[0]:
            nosing = place
    return level


class Depths:
    """The depth of every step that was taped or has distances; `levels` answers for the uncertainty of its forms."""

    def __init__(self, plan: SetOut, seen: Distances) -> None:
        self.plan, self.seen = plan, seen
        places = tuple(seen.at_m)
        spread = np.diag([seen.u_m[place] ** 2 for place in places]) if places else np.zeros((0, 0))
        self.levels = Levels(Built(places, np.array([seen.at_m[place] for place in places]), spread))

    def of(self, mark: Mark) -> Estimate | None:
        """The depth of the step behind a riser, None where nothing decides it or there is none."""
        if mark.depth_m is None:
            return None
        return self._taped(mark) or self._stationed(mark)

    def _taped(self, mark: Mark) -> Estimate | None:
        seen = [t for t in self.seen.treads if t.riser == mark.riser and not t.struck]
        if not seen:
            return None
        mean, own = sum(t.length_m for t in seen) / len(seen), sqrt(sum(t.u_m**2 for t in seen)) / len(seen)
        return Estimate(mean - self._beyond(mark), np.zeros(len(self.seen.at_m)), own, TAPED)

    def _stationed(self, mark: Mark) -> Estimate | None:
        form, k = self.levels.form, mark.riser
        found = form({(k + 1, "front"): 1.0, (k, "front"): -1.0})
        if found is None and (found := form({(k, "back"): 1.0, (k, "front"): -1.0})) is not None:
            found = Estimate(found.value_m - (mark.face_station_m - mark.nosing_station_m), found.weights)
        return None if found is None else Estimate(found.value_m, found.weights, 0.0, STATIONED)

    def _beyond(self, mark: Mark) -> float:
        """What a tape from the uppermost nosing to the end of the run holds more than the depth: the overhang."""
        return mark.face_station_m - mark.nosing_station_m if mark is self.plan.marks[-1] else 0.0

    def u_m(self, of: Estimate) -> float:
        """Standard uncertainty of a depth or of a difference of depths."""
        return self.levels.u_m(of)

    def judged(self, limit_m: float) -> Iterator[BuiltDepth]:
        """Every step against its plan: a tread both ways, a landing only where it is short."""
        for mark in self.plan.marks:
            if mark.depth_m is None:
                continue
            found = self.of(mark)
            if found is None:
                yield BuiltDepth(mark.riser, mark.part, mark.depth_m, None, None, Status.UNSURE, "not checked")
                continue
            off, u = found.value_m - mark.depth_m, self.u_m(found)
            over = -off if mark.part is Part.LANDING else abs(off)
            yield BuiltDepth(mark.riser, mark.part, mark.depth_m, found.value_m, u, judge(over, limit_m, u), found.how)


def climb_and_depth(climb: Estimate, depth: Estimate, depth_u_m: float, *, times: int) -> Estimate:
    """So many times the rise and the depth behind it, as one estimate over the heights."""
    own = hypot(times * climb.own_u_m, depth_u_m)
    return Estimate(times * climb.value_m + depth.value_m, times * climb.weights, own, depth.how)
