"""As-built: faces by differences with their covariance, the guard band, tape beside level, what is left out."""

import math

import numpy as np
import pytest

from logger.asbuilt import Held, Limits, check
from logger.built_heights import Built, Status, judge
from logger.construction import Construction
from logger.observation import Taped
from logger.profile import Profile
from logger.setout import SetOut, marks_of
from logger.steps.option import Option, Verdict
from logger.steps.rulebook import parse as parse_rules

U = 0.0004


@pytest.fixture
def plan(slope: Profile, option: Option, build: Construction) -> SetOut:
    return marks_of(slope, option, build)


def built_as(
    plan: SetOut,
    off: dict[tuple[int, str], float] | None = None,
    skip: set[tuple[int, str]] | None = None,
    u: float = U,
    common: float = 0.0,
    faces: tuple[Taped, ...] = (),
) -> Built:
    """Observed heights: the plan's own, with some off, some left out, an uncertainty each and one common to all."""
    places = [(0, "back"), *((m.riser, end) for m in plan.marks for end in ("front", "back"))]
    places = [p for p in places if p not in (skip or set())]
    designed = {(0, "back"): plan.foot_m}
    for mark in plan.marks:
        designed |= {(mark.riser, "front"): mark.front.finished_m, (mark.riser, "back"): mark.back.finished_m}
    heights = np.array([designed[p] + (off or {}).get(p, 0.0) for p in places])
    covariance = np.eye(len(places)) * u**2 + common**2
    return Built(tuple(places), heights, covariance, faces)


def test_built_as_designed_passes_and_an_error_common_to_all_heights_does_not_count(plan: SetOut) -> None:
    result = check(plan, built_as(plan, common=0.05))
    assert result.status is Status.PASS
    assert [r.status for r in result.risers] == [Status.PASS] * 3
    assert result.risers[1].u_m == pytest.approx(U * math.sqrt(2))
    assert result.uniformity_m == pytest.approx(0.0, abs=1e-12)
    assert "JCGM 106" in result.rule


def test_a_step_set_high_spoils_its_face_and_the_next(plan: SetOut) -> None:
    result = check(plan, built_as(plan, {(2, "front"): 0.012, (2, "back"): 0.012}))
    assert [r.status for r in result.risers] == [Status.PASS, Status.FAIL, Status.FAIL]
    assert result.risers[1].built_face_m - result.risers[1].designed_face_m == pytest.approx(0.012)
    assert result.risers[2].built_face_m - result.risers[2].designed_face_m == pytest.approx(-0.012)
    assert "lower step 2" in result.risers[1].fix
    assert result.status is Status.FAIL
    assert result.uniformity_m == pytest.approx(0.012), "riser 3 begins a new flight behind the landing"


@pytest.mark.parametrize(
    ("off_mm", "u_mm", "status"),
    [(4.1, 0.4, "pass"), (4.3, 0.4, "unsure"), (5.7, 0.4, "unsure"), (5.9, 0.4, "fail"), (0.0, 2.6, "unsure")],
)
def test_guard_band(off_mm: float, u_mm: float, status: str) -> None:
    assert judge(off_mm / 1000, 0.005, u_mm / 1000) is Status(status)


def test_one_coarse_reading_each_leaves_faces_undecided_and_a_tape_beside_it_settles_them(plan: SetOut) -> None:
    coarse = check(plan, built_as(plan, u=0.003))
    assert coarse.status is Status.UNSURE
    faces = tuple(Taped(20 + m.riser, m.riser, m.face_m + 0.0005, 0.0007) for m in plan.marks)
    helped = check(plan, built_as(plan, u=0.003, faces=faces))
    assert helped.status is Status.PASS
    weight_tape, weight_level = 1 / 0.0007**2, 1 / (2 * 0.003**2)
    assert helped.risers[0].u_m == pytest.approx(1 / math.sqrt(weight_tape + weight_level))
    assert helped.risers[0].built_face_m == pytest.approx(
        plan.marks[0].face_m + 0.0005 * weight_tape / (weight_tape + weight_level)
    )


def test_tape_that_contradicts_the_level_is_pointed_out(plan: SetOut) -> None:
    result = check(plan, built_as(plan, faces=(Taped(9, 2, plan.marks[1].face_m + 0.01, 0.001),)))
    assert any(f.rule == "agreement" and "riser 2" in f.text for f in result.findings)


def test_a_riser_left_out_keeps_the_whole_from_passing(plan: SetOut) -> None:
    result = check(plan, built_as(plan, skip={(2, "front")}))
    assert result.risers[1].built_face_m is None
    assert result.risers[1].status is Status.UNSURE
    assert result.status is Status.UNSURE
    assert any(f.rule == "observed" and f.text.startswith("not observed: riser 2;") for f in result.findings)


def test_a_taped_face_alone_is_enough_for_its_riser(plan: SetOut) -> None:
    face = Taped(9, 2, plan.marks[1].face_m, 0.0005)
    result = check(plan, built_as(plan, skip={(2, "front")}, faces=(face,)))
    assert result.risers[1].how == "tape and spirit level"
    assert result.status is Status.PASS


def test_foot_not_observed_again_is_that_of_the_plan_and_said(plan: SetOut) -> None:
    result = check(plan, built_as(plan, skip={(0, "back")}))
    assert result.status is Status.PASS
    assert any(f.rule == "foot" for f in result.findings)


def test_evenness_is_judged_by_flight_with_its_own_limit(plan: SetOut) -> None:
    loose = Limits(face_m=0.02, evenness_m=0.0095)
    off = {(1, "front"): -0.006, (1, "back"): -0.006}
    result = check(plan, built_as(plan, off), Held(loose))
    assert [r.status for r in result.risers] == [Status.PASS] * 3
    assert result.uniformity_m == pytest.approx(0.012)
    assert result.status is Status.FAIL
    assert [f.status for f in result.findings if f.rule == "evenness"] == [Verdict.FAIL]


def test_mixed_up_numbers_are_said(plan: SetOut) -> None:
    swap = plan.marks[2].front.finished_m - plan.marks[1].front.finished_m
    result = check(plan, built_as(plan, {(2, "front"): swap, (3, "front"): -swap}))
    assert any(f.rule == "order" and "riser 3 was observed below riser 2" in f.text for f in result.findings)
    assert result.status is Status.FAIL


def test_named_rules_are_held_each_by_its_own_measure(plan: SetOut) -> None:
    narrow = parse_rules(
        """
        [set]
        title = "House rules"
        [[rule]]
        name = "even"
        measures = "evenness"
        most = "4 mm"
        clause = "1.1"
        [[rule]]
        name = "next"
        measures = "neighbouring_risers"
        most = "5 mm"
        [[rule]]
        name = "rise"
        measures = "nosing_rise"
        most = "21 cm"
        [[rule]]
        name = "slope"
        measures = "tread_fall"
        most = "1:48"
        """,
        "own.toml",
        "own",
    )
    as_planned = check(plan, built_as(plan), Held(sets=(narrow,), width_m=1.2))
    by_rule = {f.rule: f for f in as_planned.findings}
    # Nosing to nosing is the fall of one tread, 8 mm, more than the first face: the faces alone are even.
    assert by_rule["own/even"].value == pytest.approx(0.008)
    assert by_rule["own/even"].status is Verdict.FAIL
    assert by_rule["own/next"].value == pytest.approx(0.008)
    assert by_rule["own/next"].status is Verdict.FAIL
    assert as_planned.status is Status.FAIL
    assert by_rule["own/rise"].value == pytest.approx(plan.marks[0].face_m + 0.008)
    assert by_rule["own/rise"].status is Verdict.PASS
    assert by_rule["own/slope"].status is Verdict.WARN, "2.0 % of 40 cm is 8.0 mm, 8.3 mm allowed: too close to tell"


def test_a_step_that_falls_backwards_is_pointed_out(plan: SetOut) -> None:
    result = check(plan, built_as(plan, {(1, "back"): -0.010}))
    said = [f for f in result.findings if f.rule == "fall"]
    assert said[0].status is Verdict.WARN
    assert "run to the back" in said[0].text
    assert said[1].status is Verdict.NOTE


def test_cross_fall_is_told_with_its_side(plan: SetOut) -> None:
    whole = built_as(plan)
    top = plan.marks[1].front.finished_m
    places = (*whole.places, (2, "left"), (2, "right"))
    heights = np.array([*whole.heights_m, top - 0.006, top + 0.006])
    seen = Built(places, heights, np.eye(len(places)) * U**2)
    said = [f for f in check(plan, seen, Held(width_m=1.2)).findings if f.rule == "cross fall"]
    assert said[0].value == pytest.approx(0.01)
    assert said[0].text == "step 2 falls 1.0 % across, to the left"
