"""Courses as the crew lays them: its units from the base up and the cap under each face, heights from the zero."""

from dataclasses import dataclass
from enum import StrEnum

from logger.construction import Construction, Part
from logger.setout import SAME_M, Mark, SetOut


class Sort(StrEnum):
    """What one course is."""

    BURIED = "buried"
    UNIT = "unit"
    CAP = "cap"


@dataclass(frozen=True, slots=True)
class Course:
    """One course at the face of a riser; `number` counts from the base, `rows` one behind the other."""

    riser: int
    number: int
    sort: Sort
    bottom_m: float
    top_m: float
    rows: int

    @property
    def height_m(self) -> float:
        """Its height with its joint."""
        return self.top_m - self.bottom_m


def courses(plan: SetOut, build: Construction) -> tuple[Course, ...]:
    """Every course of one layout in the order it is laid; none where the brief does not say what stands there."""
    return tuple(course for mark in plan.marks for course in _of(mark, build))


def _of(mark: Mark, build: Construction) -> list[Course]:
    layers = build.front_layers(mark.riser, mark.part)
    finished = mark.front.finished_m
    if layers.unit_m is None or finished is None:
        return []
    rows, under_cap = rows_of(mark, build), finished - layers.cap_m
    foot = under_cap - layers.unit_m
    buried, high = _split(layers.bury_m, build.course_m), _split(layers.unit_m, build.course_m)
    laid: list[Course] = []
    for sort, bottom, parts in ((Sort.BURIED, foot - layers.bury_m, buried), (Sort.UNIT, foot, high)):
        for height in parts:
            laid.append(Course(mark.riser, len(laid) + 1, sort, bottom, bottom + height, rows))
            bottom += height
    if layers.cap_m > SAME_M:
        laid.append(Course(mark.riser, len(laid) + 1, Sort.CAP, under_cap, finished, rows))
    return laid


def _split(height_m: float, course_m: float | None) -> list[float]:
    """A height as whole courses, or as one unit."""
    if height_m <= SAME_M:
        return []
    count = 1 if course_m is None else max(1, round(height_m / course_m))
    return [height_m / count] * count


def rows_of(mark: Mark, build: Construction) -> int:
    """Rows of units behind one riser: as deep as the tread, one edge row before a landing or against the grade."""
    if mark.depth_m is None or mark.part is Part.LANDING or build.unit_depth_m is None:
        return 1
    covered = mark.depth_m + build.overhang_m + build.overlap_m
    return max(1, int((covered + build.joint_m - 1e-6) // (build.unit_depth_m + build.joint_m)) + 1)
