"""Courses one by one, and the bench behind the edge row of a landing: by hand, and closing on the finished heights."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from logger.catalogue import Use
from logger.construction import Construction, construction_of
from logger.courses import Course, Sort
from logger.earthworks import Soil, dig
from logger.needs import needs
from logger.profile import Profile, ProfilePoint
from logger.setout import SetOut, marks_of
from logger.steps.brief import brief_of
from logger.steps.option import Landing, Option
from logger.steps.solve import solve

FLAT = Profile(tuple(ProfilePoint(x, 0.0, 2.0, 0.001) for x in (0.0, 6.0)))


@pytest.fixture
def stacked(build: Construction, option: Option) -> Construction:
    """Units of 12 cm under a cap made of two courses each, four of them under the first step, and an edge row."""
    return replace(build, course_m=0.06, first=replace(build.first, bury_m=0.12), edge_m=0.3)


def courses(plan: SetOut) -> tuple[Course, ...]:
    return tuple(course for mark in plan.marks for course in mark.courses)


def of(riser: int, laid: tuple[Course, ...]) -> list[tuple[Sort, float, float]]:
    return [(c.sort, c.bottom_m, c.top_m) for c in laid if c.riser == riser]


def test_every_course_stands_on_the_one_below_and_the_cap_ends_at_the_finished_height(
    slope: Profile, option: Option, stacked: Construction
) -> None:
    plan = marks_of(slope, option, stacked)
    laid = courses(plan)
    assert [sort for sort, _, _ in of(1, laid)] == [Sort.BURIED] * 2 + [Sort.UNIT] * 2 + [Sort.CAP]
    assert [sort for sort, _, _ in of(2, laid)] == [Sort.UNIT] * 2 + [Sort.CAP], "the edge row makes the face"
    for mark in plan.marks:
        mine = of(mark.riser, laid)
        assert mine[0][1] == pytest.approx(mark.front.base_top_m + 0.03, abs=1e-12), "bedding lies on the base"
        assert mine[-1][2] == pytest.approx(mark.front.finished_m, abs=1e-12)
        assert all(below[2] == pytest.approx(above[1], abs=1e-12) for below, above in pairwise(mine))
        assert [top - foot for sort, foot, top in mine if sort is not Sort.CAP] == pytest.approx(
            [0.06] * (len(mine) - 1)
        )


def test_units_are_counted_course_by_course(slope: Profile, option: Option, stacked: Construction) -> None:
    plan = marks_of(slope, option, stacked)
    wanted = {n.use: n for n in needs(plan, dig(slope, plan, stacked, Soil()), stacked)}
    assert wanted[Use.UNIT].rows == 3 * 2 + 2
    assert wanted[Use.CAP].rows == 3
    assert float(wanted[Use.PAVER].quantity) == pytest.approx(1.2 * (1.2 - 0.3))


def test_courses_of_a_brief_fill_the_face_and_the_foot_is_buried_by_whole_ones() -> None:
    ground = Profile(tuple(ProfilePoint(x, 0.0, 0.3 * x, 0.001) for x in (0.0, 4.0)))
    brief = brief_of(
        {
            "steps": {"tread": "0.4 m", "landing": "1 m", "width": "1.2 m", "run": "3.6 m"},
            "unit": {"kind": "courses", "height": "5 cm", "cap": "4 cm", "joint_max": "4 mm", "foot_up": "20 cm"},
            "layers": {"base": "15 cm", "bury": "8 cm"},
        }
    )
    option = solve(ground, brief).options[0]
    build = construction_of(brief, option)
    laid = courses(marks_of(ground, option, build))
    count = round((option.face_m - 0.04) / 0.05)
    for riser in range(2, option.risers + 1):
        assert [sort for sort, _, _ in of(riser, laid)] == [Sort.UNIT] * count + [Sort.CAP]
    assert build.course_m == pytest.approx((option.face_m - 0.04) / count)
    assert [sort for sort, _, _ in of(1, laid)][:2] == [Sort.BURIED] * 2, "8 cm takes two courses of 5 cm"


def test_a_landing_behind_a_buried_first_riser_is_benched_and_not_sloped(option: Option, build: Construction) -> None:
    early = replace(
        option, depths_m=(1.2, 0.4, 0.4), face_stations_m=(1.0, 2.2, 2.6), landings=(Landing(1, 1.2),), fall=0.0
    )
    early = replace(early, landing_fall=0.0, tops_m=(0.3, 0.5, 0.7), faces_m=(0.2,) * 3, foot_m=0.1)
    edged = replace(build, edge_m=0.3)
    plan = marks_of(FLAT, early, edged)
    first = plan.marks[0]
    # The first unit: 5 + 12 + 8 + 3 cm over 15 cm of base; the landing: 6 + 3 cm over 10 cm.
    deep, shallow = 0.3 - 0.28 - 0.15, 0.3 - 0.09 - 0.10
    assert [(b.start_m, b.end_m) for b in first.beds] == [(1.0, 1.3), (1.3, 2.2)]
    assert [b.front.subgrade_m for b in first.beds] == pytest.approx([deep, shallow])
    assert [b.back.subgrade_m for b in first.beds] == pytest.approx([deep, shallow])
    cut = dig(FLAT, plan, edged, Soil()).volumes.cut_m3
    treads = sum(0.4 * (2.0 - (top - 0.20 - 0.15)) for top in (0.5, 0.7))
    assert cut == pytest.approx(1.2 * (0.3 * (2.0 - deep) + 0.9 * (2.0 - shallow) + treads))


def test_the_last_edge_against_the_grade_is_dug_too(slope: Profile, option: Option, build: Construction) -> None:
    graded = replace(option, depths_m=option.depths_m[:2])
    edged = replace(build, edge_m=0.25, landing=build.tread)
    plan = marks_of(FLAT, graded, edged)
    assert plan.marks[-1].back.subgrade_m is None
    assert dig(FLAT, plan, edged, Soil()).length_m == pytest.approx(0.4 + 1.2 + 0.25)


def subgrade(plan: SetOut) -> list[float]:
    return [x for bed in plan.beds for x in (bed.front.subgrade_m, bed.back.subgrade_m) if x is not None]


def test_on_one_slope_the_edge_rows_too_stand_at_or_over_the_line(
    slope: Profile, option: Option, stacked: Construction
) -> None:
    benched, sloped = marks_of(slope, option, stacked), marks_of(slope, option, replace(stacked, benched=False))
    assert all(np.array(subgrade(sloped)) <= np.array(subgrade(benched)) + 1e-12)
    ends = [(x, z) for b in sloped.beds for x, z in ((b.start_m, b.front.subgrade_m), (b.end_m, b.back.subgrade_m))]
    slopes = [(z1 - z0) / (x1 - x0) for (x0, z0), (x1, z1) in pairwise(ends) if x1 - x0 > 1e-9]
    assert slopes == pytest.approx([slopes[0]] * len(slopes))
