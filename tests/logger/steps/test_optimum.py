"""No layout on the grid is better than the one the solver finds: against HiGHS and against enumeration."""

from types import ModuleType
from typing import Any

import numpy as np
import pytest

from logger.profile import Profile, ProfilePoint
from logger.steps.brief import brief_of
from logger.steps.option import Options
from logger.steps.solve import solve

SAME_M2 = 1e-9


def slope(rng: np.random.Generator, length: float, rise: float) -> list[tuple[float, float]]:
    """Rough ground of a given length and rise, stations at random."""
    count = int(rng.integers(2, 14))
    x = np.concatenate([[0.0], np.sort(rng.uniform(0.02, length - 0.02, count)), [length]])
    z = rise * (x / length) ** rng.uniform(0.6, 1.6) + rng.normal(0, rng.choice([0.0, 0.03, 0.15]), len(x))
    return [(float(a), float(b)) for a, b in zip(np.unique(x), z, strict=False)]


def random_case(oracle: ModuleType, seed: int, *, cells: int = 60, depths: int = 8) -> Any:
    rng = np.random.default_rng(seed)
    grid = float(rng.choice([0.05, 0.1, 0.0127]))
    tread = int(rng.integers(2, 6))
    landing = tread + int(rng.integers(1, 7))
    n = int(rng.integers(1, depths + 1))
    grade = bool(rng.random() < 0.35) and n > 1
    least_run = (n - grade) * tread
    run = max(1, least_run + int(rng.choice([0, rng.integers(0, 6), rng.integers(0, 30)])))
    run = min(run, max(cells, least_run))
    start = float(rng.choice([0.0, 0.37, -0.2]))
    ground = slope(rng, start + run * grid + 0.5, n * float(rng.uniform(0.08, 0.22)))
    p = float(rng.choice([0.0, 0.01, 0.02]))
    case = oracle.Case(
        ground=ground, start=start, run=run * grid, rise=n * float(rng.uniform(0.12, 0.2)) + 0.04 * run * grid,
        foot=0.0, n=n, grid=grid, tread=tread, landing=landing, top_is_grade=grade,
        step=int(rng.choice([1, 1, 2, 3])), p=p, q=p if rng.random() < 0.6 else float(rng.choice([0.0, 0.015, 0.03])),
        nosing=bool(rng.random() < 0.3), most=int(rng.choice([0, 0, 3, 5])), least=int(rng.choice([1, 1, 1, 2])),
        weights=(float(rng.choice([1.0, 0.5])), float(rng.choice([2.0, 1.0, 0.0]))),
    )  # fmt: skip
    bottom = float(rng.choice([0.0, 0.05]))
    case.foot = oracle.ground_at(case, start) + bottom
    if rng.random() < 0.2:
        case.wishes = [(float(rng.uniform(0, case.run)), (landing + int(rng.integers(0, 3))) * grid)]
    if rng.random() < 0.2:
        begin = float(rng.uniform(0, case.run))
        case.zones = [(begin, begin + float(rng.uniform(0.05, 0.3)) * case.run)]
    return case


def solved(case: Any, bottom: float) -> Options:
    """The same case as a person would ask it."""
    profile = Profile(tuple(ProfilePoint(x, 0.0, z, 0.0) for x, z in case.ground))
    m = "{!r} m".format
    fields: dict[str, object] = {
        "start": m(case.start), "run": m(case.run), "rise": m(case.rise), "bottom": m(bottom),
        "top": "grade" if case.top_is_grade else "tread", "tread": m(case.tread * case.grid),
        "landing": m(case.landing * case.grid), "landing_step": m(case.step * case.grid if case.step > 1 else 0.0),
        "grid": m(case.grid), "fall": case.p, "landing_fall": case.q, "equal": "nosing" if case.nosing else "face",
        "flight_risers": case.most, "flight_min": case.least, "riser_min": "1 mm", "riser_max": "3 m",
        "above_weight": case.weights[0], "below_weight": case.weights[1],
    }  # fmt: skip
    document = {
        "landing_at": [{"station": m(case.start + s), "depth": m(d)} for s, d in case.wishes],
        "no_landing": [{"from": m(case.start + a), "to": m(case.start + b)} for a, b in case.zones],
    }
    return solve(profile, brief_of(document, fields))


def usable(case: Any) -> bool:
    return (not case.most or case.least <= case.most) and not any(
        a < s < b for s, _ in case.wishes for a, b in case.zones
    ) and sum(case.weights) > 0  # fmt: skip


def check(oracle: ModuleType, case: Any) -> bool:
    """Compare one count; whether there was a layout."""
    options = solved(case, case.foot - oracle.ground_at(case, case.start))
    mine = next((o for o in options.options if o.risers == case.n), None)
    truth = oracle.general_solver(case)
    assert (mine is None) == (truth is None), (case, mine and mine.depths_m, truth)
    if mine is not None:
        assert mine.fit_m2 == pytest.approx(truth, abs=SAME_M2), case
    return mine is not None


def run_cases(oracle: ModuleType, seeds: range) -> None:
    checked = laid = 0
    for seed in seeds:
        case = random_case(oracle, seed)
        if usable(case):
            checked += 1
            laid += check(oracle, case)
    assert checked > 0.7 * len(seeds)
    assert laid > 0.25 * len(seeds)


def test_equals_a_general_solver(oracle: ModuleType) -> None:
    run_cases(oracle, range(150))


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("first", range(1000, 1800, 100))
def test_equals_a_general_solver_on_many(oracle: ModuleType, first: int) -> None:
    run_cases(oracle, range(first, first + 100))
