"""Tiny cases against enumeration of every layout: the fit, the landings, and which of equal layouts is taken."""

from types import ModuleType
from typing import Any

import numpy as np
import pytest

from logger.profile import Profile, ProfilePoint
from logger.steps.brief import brief_of
from logger.steps.option import Option, Options
from logger.steps.solve import solve

GRID = 0.1


def asked(case: Any) -> Options:
    profile = Profile(tuple(ProfilePoint(x, 0.0, z, 0.0) for x, z in case.ground))
    m = "{!r} m".format
    fields: dict[str, object] = {
        "start": m(case.start), "run": m(case.run), "rise": m(case.rise), "tread": m(case.tread * GRID),
        "landing": m(case.landing * GRID), "grid": m(GRID), "fall": case.p, "landing_fall": case.q,
        "top": "grade" if case.top_is_grade else "tread", "equal": "nosing" if case.nosing else "face",
        "flight_risers": case.most, "flight_min": case.least, "riser_min": "1 mm", "riser_max": "9 m",
    }  # fmt: skip
    return solve(profile, brief_of({}, fields))


def option_of(options: Options, risers: int) -> Option | None:
    return next((o for o in options.options if o.risers == risers), None)


def tiny(oracle: ModuleType, seed: int, rest: float) -> Any:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 6))
    tread, landing = 3, int(rng.integers(4, 7))
    grade = bool(rng.random() < 0.4) and n > 1
    run = ((n - grade) * tread + int(rng.integers(0, 12))) * GRID + rest
    flat = rng.random() < 0.5
    z = [0.0, 0.0, 0.0, 0.0] if flat else [0.0, *rng.uniform(0, 0.5, 2), 0.6]
    ground = [(a * (run + 0.2), float(b)) for a, b in zip((0, 0.3, 0.7, 1.0), z, strict=True)]
    p = float(rng.choice([0.0, 0.02]))
    return oracle.Case(
        ground=ground, start=0.0, run=run, rise=0.15 * n + 0.03 * run, foot=ground[0][1], n=n, grid=GRID, tread=tread,
        landing=landing, top_is_grade=grade, p=p, q=p if rng.random() < 0.6 else 0.01, nosing=bool(rng.random() < 0.3),
        most=int(rng.choice([0, 0, 2])), least=1, weights=(1.0, 2.0),
    )  # fmt: skip


@pytest.mark.parametrize("rest", [0.0, 0.037])
def test_every_count_is_the_best_of_all_layouts(oracle: ModuleType, rest: float) -> None:
    laid = 0
    for seed in range(100):
        case = tiny(oracle, seed, rest)
        truth = oracle.enumerate_all(case)
        mine = option_of(asked(case), case.n)
        if rest and truth is None and mine is not None:
            assert case.top_is_grade, case
            assert mine.treads == len(mine.depths_m)
            assert len(set(mine.depths_m)) == 1, "spread over all treads"
            continue
        assert (mine is None) == (truth is None), (seed, case, mine, truth)
        if mine is None:
            continue
        laid += 1
        fit, landings, stations = truth
        assert mine.fit_m2 == pytest.approx(fit, abs=1e-12), (seed, case)
        assert len(mine.landings) == landings, (seed, case)
        assert mine.face_stations_m == pytest.approx(stations, abs=1e-6), (seed, case)
    assert laid > 40


def test_equal_layouts_take_the_fewest_landings_then_the_lowest_faces(oracle: ModuleType) -> None:
    """Level ground under level treads at the height of the first: where the landings lie makes no difference."""
    case = oracle.Case(
        ground=[(0.0, 0.0), (9.0, 0.0)], start=0.0, run=2.1, rise=0.3, foot=0.0, n=3, grid=GRID, tread=3, landing=5,
        top_is_grade=True, weights=(1.0, 2.0),
    )  # fmt: skip
    truth = oracle.enumerate_all(case)
    mine = option_of(asked(case), 3)
    assert mine is not None
    assert mine.face_stations_m == pytest.approx(truth[2])
    case.ground = [(0.0, 9.0), (9.0, 9.0)]
    case.weights = (0.0, 2.0)
    truth = oracle.enumerate_all(case)
    options = solve(
        Profile((ProfilePoint(0, 0, 9, 0), ProfilePoint(9, 0, 9, 0))),
        brief_of({}, {"run": "2.1 m", "rise": "0.3 m", "bottom": "-9 m", "tread": "0.3 m", "landing": "0.5 m",
                      "grid": "0.1 m", "fall": 0, "top": "grade", "above_weight": 0, "riser_min": "1 mm"}),
    )  # fmt: skip
    mine = option_of(options, 3)
    assert mine is not None
    assert mine.fit_m2 == 0
    assert len(mine.landings) == truth[1] == 1
    assert mine.face_stations_m == pytest.approx(truth[2])
    assert mine.face_stations_m == pytest.approx((0.0, 0.3, 2.1))


def test_heights_follow_the_formulas() -> None:
    """84 in of rise over 38 ft 6 1/2 in at 1 %: 84 less 4 5/8 of fall is 79 3/8, by 12 is 6.6146 in."""
    inch = 0.0254
    options = solve(None, brief_of({}, {"rise": "84 in", "run": "462.5 in", "tread": "16 in", "landing": "36 in"}))
    option = option_of(options, 12)
    assert option is not None
    assert option.face_m / inch == pytest.approx(79.375 / 12)
    assert option.nosing_rise_m / inch == pytest.approx(79.375 / 12 + 0.16)
    assert option.step_rule_m / inch == pytest.approx(2 * (79.375 / 12 + 0.16) + 16)
    x, tops = option.face_stations_m, option.tops_m
    for k, (station, top) in enumerate(zip(x, tops, strict=True)):
        assert top == pytest.approx((k + 1) * option.face_m + 0.01 * station)
    assert tops[-1] + 0.01 * option.depths_m[-1] == pytest.approx(84 * inch)


@pytest.mark.parametrize(("risers", "inches"), [(12, 7.3125), (13, 6.75)])
def test_worked_divisions(risers: int, inches: float) -> None:
    """A total rise of 87.75 in into 12 gives 7.3125 in, into 13 gives 6.75 in (common practice)."""
    fields = {"rise": "87.75 in", "run": "250 in", "tread": "16 in", "landing": "36 in", "fall": "0 %"}
    option = option_of(solve(None, brief_of({}, fields)), risers)
    assert option is not None
    assert option.face_m / 0.0254 == pytest.approx(inches, abs=1e-9)


def test_worked_run() -> None:
    """13 treads of 16 in need 208 in; a run of 250 in leaves 42 in: with 14 risers a landing of 58 in."""
    fields = {"rise": "87.75 in", "run": "250 in", "tread": "16 in", "landing": "36 in", "fall": "0 %", "top": "grade"}
    option = option_of(solve(None, brief_of({}, fields)), 14)
    assert option is not None
    assert (option.treads, len(option.landings)) in ((12, 1), (11, 2))
    assert sum(option.depths_m) / 0.0254 == pytest.approx(250)
    extra = sum(d - 16 * 0.0254 for d in option.depths_m)
    assert extra / 0.0254 == pytest.approx(250 - 208)
