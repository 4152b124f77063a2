"""Units of one height against HiGHS: one exact network for each way the remainder can be taken up."""

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


def part(left: float, low: float, high: float) -> tuple[float, float]:
    taken = min(max(left, low), high)
    return taken, left - taken


def truth(oracle: ModuleType, case: Any, unit: dict[str, float]) -> float | None:
    """Least fit over every number of landings and flights, each with its own fall, joint, setting in and grades."""
    best = None
    for landings, flights in itertools.product(range(case.depths + 1), range(1, case.n + 1)):
        level = 0.0 if not landings else case.run - (case.depths - landings) * TREAD * GRID
        left = case.rise - case.p * (case.run - level) - case.q * level - case.n * (unit["height"] + unit["joint"])
        fall, left = part(left, (unit["fall_min"] - case.p) * case.run, (unit["fall_max"] - case.p) * case.run)
        joints, left = part(left, 0.0, case.n * (unit["joint_max"] - unit["joint"]))
        bury, left = part(left, -flights * unit["bury"], 0.0)
        foot, left = part(left, -unit["foot_down"], unit["foot_up"])
        _, left = part(left, -unit["head_up"], unit["head_down"])
        if abs(left) > 1e-6:
            continue
        other = unit["height"] + unit["joint"] + joints / case.n
        own = oracle.Case(**{**case.__dict__, "p": case.p + fall / case.run, "q": case.q + fall / case.run,
                             "foot": case.foot + foot})  # fmt: skip
        net = oracle.network(own, other + bury / flights, other, landings, flights)
        value = None if net is None else oracle.shortest(net)
        if value is not None and (best is None or value < best):
            best = value
    return best


@pytest.mark.parametrize("seed", range(40))
def test_whole_units_equal_a_general_solver(oracle: ModuleType, seed: int) -> None:
    rng = np.random.default_rng(seed)
    units = int(rng.integers(3, 8))
    run = (units * TREAD + int(rng.choice([0, 6, 7, 13, 20]))) * GRID
    x = np.array([0.0, *np.sort(rng.uniform(0.1, run, 5)), run + 0.3])
    z = np.linspace(0, run * rng.uniform(0.25, 0.4), 7) + rng.normal(0, 0.04, 7)
    unit = {"height": 0.15, "joint": 0.005, "joint_max": 0.008, "fall_min": 0.0, "fall_max": 0.03,
            "bury": float(rng.choice([0.0, 0.04])), "foot_up": 0.02, "foot_down": 0.03, "head_up": 0.01,
            "head_down": 0.02}  # fmt: skip
    q = float(rng.choice([0.01, 0.02]))
    case = oracle.Case(ground=list(zip(map(float, x), map(float, z), strict=True)), start=0.0, run=run, rise=0.0,
                       foot=float(z[0]), n=0, grid=GRID, tread=TREAD, landing=LANDING, p=0.01, q=q,
                       least=int(rng.choice([1, 2])), most=int(rng.choice([0, 4])))  # fmt: skip
    case.rise = units * 0.155 + 0.01 * run + float(rng.uniform(-0.08, 0.08))
    fields: dict[str, object] = {
        "run": f"{run!r} m", "rise": f"{case.rise!r} m", "tread": "0.4 m", "landing": "1 m", "grid": "0.1 m", "fall": 0.01, "landing_fall": q,
        "flight_min": case.least, "flight_risers": case.most, "riser_min": "1 cm", "riser_max": "0.3 m",
        "unit.kind": "whole", **{f"unit.{name}": value if "fall" in name else f"{value!r} m" for name, value in
                                 unit.items()},
    }  # fmt: skip
    profile = Profile(tuple(ProfilePoint(a, 0.0, b, 0.0) for a, b in case.ground))
    options = solve(profile, brief_of({}, fields))
    for n in range(2, 9):
        case.n = n
        mine = next((o.fit_m2 for o in options.options if o.risers == n), None)
        theirs = truth(oracle, case, unit)
        assert (mine is None) == (theirs is None), (n, options.refused)
        if mine is not None:
            assert mine == pytest.approx(theirs, abs=SAME_M2)
