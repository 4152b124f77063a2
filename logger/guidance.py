"""Live set-out: fed with heights above the zero, it says in words what to do next. No clock, no port, no screen.

Two ways of working: *check a mark* (the probe stands at a known place: raise or lower the work by so much) and *find
the line* (the probe is carried over the ground until the ground is at the height: up or down the slope). Once said,
"on" holds until the height leaves the tolerance by a margin, so that words do not flicker at its edge.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from drivers.lengths import Units, show_length
from logger.profile import Ground
from logger.setout import Mark, SetOut

TOLERANCE_M = 0.003
"""Common practice for setting a unit by level."""
MARGIN = 0.5
"""How far beyond the tolerance, as a part of it, "on" still holds."""
INSIDE_M = 0.025
"""How far inside a bench its ends are taken: about an inch."""
FLAT = 0.02
"""Ground flatter than this gives no useful distance to go."""
FAR_M = 3.0
"""Farther off than this the slope beside the mark says nothing of the way to go."""


class Way(StrEnum):
    """How the probe is used."""

    CHECK = "check a mark"
    FIND = "find the line"


class Level(StrEnum):
    """Which height of a step is worked to."""

    FINISHED = "finished"
    BASE_TOP = "base top"
    COURSE = "top of course"
    SUBGRADE = "subgrade"
    CROSSING = "ground crossing"


class Say(StrEnum):
    """The word that comes first, and alone says what to do."""

    RAISE = "raise"
    LOWER = "lower"
    ON_GRADE = "on grade"
    UPHILL = "up the slope"
    DOWNHILL = "down the slope"
    ON_LINE = "on line"
    HOLD = "hold still"
    ZERO = "check the zero"


BELLS = {Say.ON_GRADE: 2, Say.ON_LINE: 2, Say.ZERO: 3}
"""How many times the bell rings when the word is said first; the rest are silent."""


@dataclass(frozen=True, slots=True)
class Target:
    """One height to work to: what it is, where it lies, and the slope of the ground there (rise over run)."""

    riser: int
    place: str
    level: Level
    height_m: float
    station_m: float
    slope: float = 0.0


@dataclass(frozen=True, slots=True)
class Told:
    """What is said for one reading: `by_m` is never negative, `go_m` a distance along the ground where it is known."""

    say: Say
    by_m: float
    go_m: float | None
    bell: int

    def words(self, units: Units) -> str:
        """One line, the important word first."""
        match self.say:
            case Say.HOLD | Say.ZERO:
                return self.say.value
            case Say.UPHILL | Say.DOWNHILL:
                go = "" if self.go_m is None else f" about {show_length(self.go_m, units)}"
                return f"{self.say.value}{go}, {show_length(self.by_m, units)} of height to go"
            case Say.ON_GRADE | Say.ON_LINE:
                return f"{self.say.value}, off by {show_length(self.by_m, units)}"
            case _:
                return f"{self.say.value} {show_length(self.by_m, units)}"


class Guide:
    """Guidance to one target; feed it every reading, it remembers only whether it has said "on"."""

    def __init__(self, target: Target, way: Way, tolerance_m: float = TOLERANCE_M) -> None:
        self.target, self.way, self.tolerance_m = target, way, tolerance_m
        self._said: Say | None = None

    def heard(self, above_zero_m: float, *, steady: bool = True) -> Told:
        """What to say for a height above the zero under the probe."""
        if not steady:
            return self._tell(Say.HOLD, 0.0)
        off = self.target.height_m - above_zero_m
        was_on = self._said in (Say.ON_GRADE, Say.ON_LINE)
        if abs(off) <= self.tolerance_m * (1 + MARGIN * was_on):
            return self._tell(Say.ON_GRADE if self.way is Way.CHECK else Say.ON_LINE, abs(off))
        if self.way is Way.CHECK:
            return self._tell(Say.RAISE if off > 0 else Say.LOWER, abs(off))
        slope = self.target.slope
        go = abs(off / slope) if abs(slope) >= FLAT else math.inf
        return self._tell(Say.UPHILL if off > 0 else Say.DOWNHILL, abs(off), go if go <= FAR_M else None)

    def _tell(self, say: Say, by_m: float, go_m: float | None = None) -> Told:
        bell = BELLS.get(say, 0) if say is not self._said else 0
        if say is not Say.HOLD:
            self._said = say
        return Told(say, by_m, go_m, bell)


class ZeroWatch:
    """Asks for the zero again after an interval and after every gap of the link; fed with monotonic seconds."""

    def __init__(self, interval_s: float = 3600.0) -> None:
        self.interval_s = interval_s
        self._seen_s: float | None = None

    def observed(self, t_s: float) -> None:
        """The zero was observed."""
        self._seen_s = t_s

    def link_lost(self) -> None:
        """The line went away: heights count again only after the zero."""
        self._seen_s = None

    def due(self, t_s: float) -> bool:
        """Whether the zero has to be observed before heights are trusted."""
        return self._seen_s is None or t_s - self._seen_s >= self.interval_s


def targets(plan: SetOut, level: Level, ground: Ground) -> tuple[Target, ...]:
    """What to work to, riser by riser in the order of the climb; empty where the brief gives no such height.

    `ground` has its heights above the zero; only the ground crossings ask it.
    """
    found: list[Target] = []
    for mark in plan.marks:
        if level is Level.CROSSING:
            found += [_crossing(mark.riser, station, ground) for station in mark.ground_crossings_m]
            continue
        if level is Level.COURSE:
            found += [
                Target(mark.riser, f"course {c.number}", level, c.top_m, mark.face_station_m) for c in mark.courses
            ]
            continue
        if level is Level.SUBGRADE:
            found += _subgrade(mark)
            continue
        back_m = mark.face_station_m + (mark.depth_m or 0.0)
        for place, end, station in (("front", mark.front, mark.face_station_m), ("back", mark.back, back_m)):
            height = end.finished_m if level is Level.FINISHED else end.base_top_m
            if height is not None:
                found.append(Target(mark.riser, place, level, height, station))
    return tuple(found)


def _subgrade(mark: Mark) -> Iterator[Target]:
    """Both ends of each bench, a little inside it: where two benches meet they would be taken for one point."""
    names = ("front", "back") if len(mark.beds) == 1 else ("front", "edge back", "bench front", "back")
    for bed, places in zip(mark.beds, (names[:2], names[2:])[: len(mark.beds)], strict=True):
        front, back, deep = bed.front.subgrade_m, bed.back.subgrade_m, bed.end_m - bed.start_m
        if front is None or back is None:
            continue
        inside = min(INSIDE_M, deep / 4)
        for place, along in zip(places, (inside, deep - inside), strict=True):
            height = front + (back - front) * along / deep
            yield Target(mark.riser, place, Level.SUBGRADE, height, bed.start_m + along)


def _crossing(riser: int, station_m: float, ground: Ground) -> Target:
    near = 0.25
    slope = (ground.at(station_m + near) - ground.at(station_m - near)) / (2 * near)
    return Target(riser, "ground", Level.CROSSING, ground.at(station_m), station_m, slope)
