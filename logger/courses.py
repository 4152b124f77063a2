"""Courses as the crew lays them: its units from the base up and the cap under each face, heights from the zero."""

from dataclasses import dataclass
from enum import StrEnum

from logger.construction import SAME_M, Construction, Part


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


def laid(
    build: Construction, riser: int, part: Part, *, depth_m: float | None, finished_m: float
) -> tuple[Course, ...]:
    """The courses at one face, from the base up; none where the brief does not say what stands there."""
    layers = build.front_layers(riser, part)
    if layers.unit_m is None:
        return ()
    rows, under_cap = _rows(build, part, depth_m), finished_m - layers.cap_m
    foot = under_cap - layers.unit_m
    buried, high = _split(layers.bury_m, build.course_m), _split(layers.unit_m, build.course_m)
    found: list[Course] = []
    for sort, bottom, parts in ((Sort.BURIED, foot - layers.bury_m, buried), (Sort.UNIT, foot, high)):
        for height in parts:
            found.append(Course(riser, len(found) + 1, sort, bottom, bottom + height, rows))
            bottom += height
    if layers.cap_m > SAME_M:
        found.append(Course(riser, len(found) + 1, Sort.CAP, under_cap, finished_m, rows))
    return tuple(found)


def _split(height_m: float, course_m: float | None) -> list[float]:
    """A height as whole courses, or as one unit."""
    if height_m <= SAME_M:
        return []
    count = 1 if course_m is None else max(1, round(height_m / course_m))
    return [height_m / count] * count


def _rows(build: Construction, part: Part, depth_m: float | None) -> int:
    """Rows of units behind one riser: as deep as the tread, one edge row before a landing or against the grade."""
    if depth_m is None or part is Part.LANDING or build.unit_depth_m is None:
        return 1
    covered = depth_m + build.overhang_m + build.overlap_m
    return max(1, int((covered + build.joint_m - 1e-6) // (build.unit_depth_m + build.joint_m)) + 1)
