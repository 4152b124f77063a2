"""Units of one height, and courses, against HiGHS: one exact network for each way the remainder can be taken up."""

import itertools
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from logger.profile import Profile, ProfilePoint
from logger.steps.brief import brief_of
from logger.steps.solve import solve

GRID, TREAD, LANDING = 0.1, 4, 10
SAME_M2 = 1e-9
WHOLE = {"height": 0.15, "joint": 0.005, "joint_max": 0.008, "fall_min": 0.0, "fall_max": 0.03, "foot_up": 0.02,
         "foot_down": 0.03, "head_up": 0.01, "head_down": 0.02}  # fmt: skip
COURSES = WHOLE | {"height": 0.045, "joint_max": 0.007, "cap": 0.055}
"""Faces of 105 mm, 155 mm, 205 mm and so on."""


def part(left: float, low: float, high: float) -> tuple[float, float]:
    taken = min(max(left, low), high)
    return taken, left - taken


def truth(oracle: ModuleType, case: Any, unit: dict[str, float]) -> float | None:
    """Least fit over every face and every number of landings and flights, each with all that it takes up."""
    best = None
    pairs = [(m, f) for m in range(case.depths + 1) for f in (m, m + 1) if 1 <= f <= case.n]
    for courses, (landings, flights) in itertools.product(range(1, 13) if "cap" in unit else (1,), pairs):
        face = courses * (unit["height"] + unit["joint"]) + unit.get("cap", 0.0)
        level = 0.0 if not landings else case.run - (case.depths - landings) * TREAD * GRID
        left = case.rise - case.p * (case.run - level) - case.q * level - case.n * face
        fall, left = part(left, (unit["fall_min"] - case.p) * case.run, (unit["fall_max"] - case.p) * case.run)
        joints, left = part(left, 0.0, case.n * courses * (unit["joint_max"] - unit["joint"]))
        bury, left = part(left, -flights * unit["bury"], 0.0)
        foot, left = part(left, -unit["foot_down"], unit["foot_up"])
        _, left = part(left, -unit["head_up"], unit["head_down"])
        if abs(left) > 1e-6:
            continue
        other = face + joints / case.n
        own = oracle.Case(**{**case.__dict__, "p": case.p + fall / case.run, "q": case.q + fall / case.run,
                             "foot": case.foot + foot})  # fmt: skip
        net = oracle.network(own, other + bury / flights, other, landings, flights)
        value = None if net is None else oracle.shortest(net)
        if value is not None and (best is None or value < best):
            best = value
    return best


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("kind", [WHOLE, COURSES], ids=["whole", "courses"])
def test_units_equal_a_general_solver(oracle: ModuleType, kind: dict[str, float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    units = int(rng.integers(3, 8))
    run = (units * TREAD + int(rng.choice([0, 6, 7, 13, 20]))) * GRID
    x = np.array([0.0, *np.sort(rng.uniform(0.1, run, 5)), run + 0.3])
    z = np.linspace(0, run * rng.uniform(0.25, 0.4), 7) + rng.normal(0, 0.04, 7)
    unit = kind | {"bury": float(rng.choice([0.0, 0.04]))}
    q = float(rng.choice([0.01, 0.02]))
    case = oracle.Case(ground=list(zip(map(float, x), map(float, z), strict=True)), start=0.0, run=run, rise=0.0,
                       foot=float(z[0]), n=0, grid=GRID, tread=TREAD, landing=LANDING, p=0.01, q=q,
                       least=int(rng.choice([1, 2])), most=int(rng.choice([0, 4])))  # fmt: skip
    case.rise = units * 0.155 + 0.01 * run + float(rng.uniform(-0.08, 0.08))
    fields: dict[str, object] = {
        "run": f"{run!r} m", "rise": f"{case.rise!r} m", "tread": "0.4 m", "landing": "1 m", "grid": "0.1 m", "fall": 0.01, "landing_fall": q,
        "flight_min": case.least, "flight_risers": case.most, "riser_min": "1 cm", "riser_max": "3 m",
        "unit.kind": "courses" if "cap" in kind else "whole",
        **{f"unit.{name}": value if "fall" in name else f"{value!r} m" for name, value in unit.items()},
    }  # fmt: skip
    profile = Profile(tuple(ProfilePoint(a, 0.0, b, 0.0) for a, b in case.ground))
    options = solve(profile, brief_of({}, fields))
    for n in range(1, 11):
        case.n = n
        mine = next((o.fit_m2 for o in options.options if o.risers == n), None)
        theirs = truth(oracle, case, unit)
        assert (mine is None) == (theirs is None), (n, options.refused)
        if mine is not None:
            assert mine == pytest.approx(theirs, abs=SAME_M2)


BLOCKS: dict[str, object] = {
    "run": "3.5 m", "rise": "1.56 m", "tread": "0.35 m", "landing": "1 m", "unit.kind": "whole", "unit.height": "15 cm",
    "unit.foot_up": "5 cm", "riser_max": "15 cm",
}  # fmt: skip


def test_units_as_high_as_the_bound_are_held_by_their_own_height() -> None:
    """1.56 m less 35 mm of fall is 10 units of 15 cm and 25 mm, which the foot takes up: no face is over the bound."""
    (option,) = solve(None, brief_of({}, BLOCKS)).options
    assert (option.risers, option.face_m) == (10, pytest.approx(0.15))
    assert "the grade at the foot is raised by 25.00 mm" in option.adjusted


def test_the_fall_is_part_of_the_rise_that_units_are_counted_for() -> None:
    """2 m less 3 % of 14 m is 1.58 m: 11 units of 15 cm with the foot 7 cm lower, or 10 with it 8 cm higher."""
    fields = BLOCKS | {"run": "14 m", "rise": "2 m", "fall": "3 %", "unit.foot_up": "0.1 m", "unit.foot_down": "0.1 m"}
    options = solve(None, brief_of({}, fields))
    assert {option.risers for option in options.options} == {10, 11}
    assert [refused.risers for refused in options.refused] == [8, 9, 12, 13]


def test_what_units_lack_of_the_rise_is_said_as_a_change_that_mends() -> None:
    """1.66 m less 35 mm of fall is 10 units and 125 mm; the foot takes up 50 mm of that."""
    ten = next(r for r in solve(None, brief_of({}, BLOCKS | {"rise": "1.66 m"})).refused if r.risers == 10)
    assert ten.mends[0].startswith("0.075 m less rise: the grade at the foot raised")
    assert any(o.risers == 10 for o in solve(None, brief_of({}, BLOCKS | {"rise": "1.585 m"})).options)


def test_every_bed_joint_of_courses_takes_its_share() -> None:
    """5 faces of 3 courses and a cap, 155 mm as told; 15 mm more of rise make each of the 15 joints 1 mm wider."""
    fields = {
        "run": "2 m", "rise": "0.79 m", "fall": 0, "tread": "0.4 m", "landing": "1 m", "unit.kind": "courses",
        "unit.height": "45 mm", "unit.joint": "5 mm", "unit.joint_max": "6 mm", "unit.cap": "5 mm",
    }  # fmt: skip
    option = next(o for o in solve(None, brief_of({}, fields)).options if o.risers == 5)
    assert option.face_m == pytest.approx(0.158)
    assert "bed joints of 6.00 mm instead of 5.00 mm" in option.adjusted


def test_a_first_unit_is_never_set_in_whole() -> None:
    """One course and a cap, 15 cm, may be set in by 20 cm: a face of nothing is no face."""
    fields = {
        "run": "0.8 m", "rise": "0.14 m", "fall": 0, "tread": "0.4 m", "landing": "1 m", "unit.kind": "courses",
        "unit.height": "10 cm", "unit.cap": "5 cm", "unit.bury": "20 cm",
    }  # fmt: skip
    assert all(min(o.faces_m) > 0 for o in solve(None, brief_of({}, fields)).options)


def test_one_unit_against_the_grade_may_have_its_foot_moved_over_the_whole_run() -> None:
    """What would mend a single riser is tried on a run of nothing, which has no fall to change."""
    fields = BLOCKS | {"run": "1 m", "rise": "0.4 m", "top": "grade", "unit.fall_max": "3 %"}
    assert solve(None, brief_of({}, fields), explain=1).refused[0].risers == 1
