"""Whole units: every face is one unit (or courses and a cap), and what is left of the rise must be taken up.

In this order, each within its own allowance and only as far as needed: the fall of the surfaces, the bed joints, the
first unit of each flight set into what lies before it, the grade at the foot, the grade at the head.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from logger.steps.brief import Brief, Kind
from logger.steps.option import Cause
from logger.steps.problem import SAME_M, Heights, Problem
from logger.steps.words import Words, counted

MOST_COURSES = 12


@dataclass(frozen=True, slots=True)
class Made:
    """A face of a kind of unit: its height with the joints as told, and how many bed joints that has."""

    face_m: float
    joints: int = 1


@dataclass(frozen=True, slots=True)
class TakeUp:
    """How a remainder was taken up; `left_m` is what no allowance holds (the units are too low where positive)."""

    fall: float
    joint_m: float
    bury_m: float
    foot_up_m: float
    head_up_m: float
    left_m: float


class WholeUnits:
    """Faces of one height on one problem, with what is left of the rise taken up within the allowances."""

    def __init__(self, problem: Problem, brief: Brief, made: Made, admitted: Callable[[Heights], bool]) -> None:
        self.problem, self.unit, self.made, self.admitted = problem, brief.unit, made, admitted
        self.staged = problem.fall != problem.landing_fall or self.unit.bury_m > 0

    def heights(self, landings: int, flights: int) -> Heights | None:
        """The heights; None where the allowances do not hold the remainder, or a bound is broken."""
        taken = self.taken(landings, flights)
        p = self.problem
        more = taken.fall - p.fall
        other_m = self.made.face_m + self.made.joints * (taken.joint_m - self.unit.joint_m)
        first_m = other_m - taken.bury_m
        if abs(taken.left_m) > SAME_M or first_m <= 0:
            return None
        foot_m, landing_fall, alone = p.foot_m + taken.foot_up_m, p.landing_fall + more, flights == p.risers
        heights = Heights(foot_m, first_m, other_m, p.tread_m, taken.fall, landing_fall, alone)
        return heights if self.admitted(heights) else None

    def taken(self, landings: int, flights: int) -> TakeUp:
        """What each allowance takes of what units and falls leave of the rise."""
        p, u = self.problem, self.unit
        level_m = p.landing_sum_m(landings)
        left = p.rise_m - p.fall * (p.run_m - level_m) - p.landing_fall * level_m - p.risers * self.made.face_m
        least = p.fall if u.fall_min is None else u.fall_min
        most = p.fall if u.fall_max is None else u.fall_max
        fall, left = _part(left, ((least - p.fall) * p.run_m, (most - p.fall) * p.run_m))
        joint_max = u.joint_m if u.joint_max_m is None else u.joint_max_m
        joints = p.risers * self.made.joints
        opened, left = _part(left, (0.0, joints * (joint_max - u.joint_m)))
        buried, left = _part(left, (-flights * u.bury_m, 0.0))
        foot, left = _part(left, (-u.foot_down_m, u.foot_up_m))
        head, left = _part(left, (-u.head_up_m, u.head_down_m))
        steeper = fall / p.run_m if p.run_m > SAME_M else 0.0
        return TakeUp(p.fall + steeper, u.joint_m + opened / joints, -buried / flights, foot, -head, left)

    def cause(self, words: Words) -> Cause:
        """Why this count of units does not make the rise."""
        left_m = min((self.taken(0, 1), self.taken(1, 2)), key=lambda taken: abs(taken.left_m)).left_m
        way = "too little" if left_m > 0 else "too much"
        text = (
            f"{counted(self.problem.risers, 'unit')} of {words.small(self.made.face_m)} and the falls are "
            f"{words.length(abs(left_m))} {way} for the rise, beyond what fall, joints, setting in and grades may take"
        )
        return Cause("unit", text, self.problem.risers * self.made.face_m, self.problem.rise_m)

    def said(self, heights: Heights, landings: int, flights: int, words: Words) -> Iterator[str]:
        """In words, what was taken up and how."""
        taken = self.taken(landings, flights)
        if abs(heights.fall - self.problem.fall) > 1e-9:
            yield f"fall of {heights.fall * 100:.2f} % instead of {self.problem.fall * 100:.2f} %: it takes up the rise"
        if taken.joint_m - self.unit.joint_m > SAME_M:
            yield f"bed joints of {words.fine(taken.joint_m)} instead of {words.fine(self.unit.joint_m)}"
        if taken.bury_m > SAME_M:
            yield f"the first unit of each flight is set in by {words.fine(taken.bury_m)}"
        for what, up_m in (("foot", taken.foot_up_m), ("head", taken.head_up_m)):
            if abs(up_m) > SAME_M:
                way = "raised" if up_m > 0 else "lowered"
                yield f"the grade at the {what} is {way} by {words.fine(abs(up_m))}"


def _part(left: float, allowance: tuple[float, float]) -> tuple[float, float]:
    """What an allowance takes, and what it leaves."""
    taken = min(max(left, allowance[0]), allowance[1])
    return taken, left - taken


def as_told(made: Made, brief: Brief) -> Heights:
    """Heights of which nothing is taken up."""
    s = brief.steps
    return Heights(0.0, made.face_m, made.face_m, s.tread_m, s.fall, brief.landing_fall)


def unit_faces(brief: Brief) -> list[Made]:
    """How a face can be made: of one unit and its joint, or of so many courses and the cap."""
    unit = brief.unit
    assert unit.height_m is not None
    course_m = unit.height_m + unit.joint_m
    if unit.kind is Kind.WHOLE:
        return [Made(course_m)]
    return [Made(courses * course_m + (unit.cap_m or 0.0), courses) for courses in range(1, MOST_COURSES + 1)]


def counts_of_units(made: Made, brief: Brief, rise_m: float, run_m: float) -> tuple[float, float]:
    """The least and the most faces that could make a rise, with every allowance taken one way or the other."""
    u, s = brief.unit, brief.steps
    more = brief.landing_fall - s.fall
    least = (s.fall if u.fall_min is None else u.fall_min) + min(0.0, more)
    most = (s.fall if u.fall_max is None else u.fall_max) + max(0.0, more)
    opened_m = made.joints * ((u.joint_m if u.joint_max_m is None else u.joint_max_m) - u.joint_m)
    low_m = rise_m - most * run_m - u.foot_up_m - u.head_down_m
    high_m = rise_m - least * run_m + u.foot_down_m + u.head_up_m
    set_in_m = u.bury_m * (1 + run_m // s.landing_m)
    return low_m / (made.face_m + opened_m), (high_m + set_in_m) / made.face_m
