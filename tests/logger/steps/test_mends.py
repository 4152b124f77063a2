"""What a refusal says would mend it does: typed into the brief as it is written there, the count has a layout."""

import re
from types import ModuleType

import numpy as np
import pytest

from logger.profile import Profile, ProfilePoint
from logger.steps.brief import brief_of
from logger.steps.solve import solve

FOUND = {
    r"equal treads of ([\d.]+) mm \((tread|tread_max)\)": lambda m: {m[2]: f"{m[1]} mm"},
    r"the foot moved ([\d.]+) m": lambda m: {"start_slack": f"{m[1]} m"},
    r"a landing from ([\d.]+) m on": lambda m: {"landing": f"{m[1]} m"},
    r"flights of up to (\d+) riser": lambda m: {"flight_risers": int(m[1])},
}


def drawn(seed: int) -> tuple[Profile, dict[str, object]]:
    rng = np.random.default_rng(seed)
    run = float(np.round(rng.uniform(1, 4), 2))
    x = np.linspace(0, run + 0.2, 6)
    z = x * rng.uniform(0.2, 0.5) + rng.normal(0, 0.02, 6)
    tread = float(np.round(rng.uniform(0.25, 0.45), 3))
    fields: dict[str, object] = {
        "run": f"{run} m", "rise": f"{run * rng.uniform(0.2, 0.5):.3f} m", "tread": f"{tread} m",
        "landing": f"{tread + rng.uniform(0.2, 0.9):.3f} m", "grid": "5 cm", "top": str(rng.choice(["tread", "grade"])),
        "flight_risers": int(rng.choice([0, 3])), "riser_min": "12 cm", "riser_max": "17 cm",
    }  # fmt: skip
    return Profile(tuple(ProfilePoint(float(a), 0.0, float(b), 0.0) for a, b in zip(x, z, strict=True))), fields


def changed(fields: dict[str, object], mend: str) -> dict[str, object]:
    """The brief with what the mend says."""
    for pattern, change in FOUND.items():
        if (match := re.match(pattern, mend)) is not None:
            return fields | change(match)
    match = re.match(r"([\d.]+) m (more|less) (run|rise)", mend)
    assert match is not None, mend
    before = float(str(fields[match[3]]).removesuffix(" m"))
    return fields | {match[3]: f"{before + float(match[1]) * (1 if match[2] == 'more' else -1)!r} m"}


def test_every_mend_mends() -> None:
    tried = 0
    for seed in range(60):
        profile, fields = drawn(seed)
        for refused in solve(profile, brief_of({}, fields)).refused[1:-1]:
            asked = solve(profile, brief_of({}, fields), explain=refused.risers)
            for mend in next(r for r in asked.refused if r.risers == refused.risers).mends:
                new = fields
                for one in mend.split(", and with that "):
                    new = changed(new, one)
                assert any(o.risers == refused.risers for o in solve(profile, brief_of({}, new)).options), (seed, mend)
                tried += 1
    assert tried > 100


def test_nothing_is_said_that_would_not_mend() -> None:
    """One riser that meets the grade has no depth: no run makes a layout of it."""
    fields: dict[str, object] = {"rise": "0.15 m", "run": "1 m", "tread": "0.4 m", "landing": "1.2 m", "top": "grade"}
    assert next(r for r in solve(None, brief_of({}, fields), explain=1).refused if r.risers == 1).mends == ()


@pytest.mark.parametrize("seed", range(40))
def test_a_moved_foot_is_the_best_there_and_only_where_none_is_without(oracle: ModuleType, seed: int) -> None:
    profile, fields = drawn(seed)
    fields |= {"tread": "0.35 m", "landing": "1 m", "run": f"{round(float(str(fields['run'])[:-2]) / 0.05) * 0.05} m"}
    ground = [(p.station_m, p.elevation_m) for p in profile.points]
    slack = solve(profile, brief_of({}, fields | {"start_slack": "40 cm"}))
    fixed = {o.risers for o in solve(profile, brief_of({}, fields)).options}
    for option in slack.options:
        start, run = option.face_stations_m[0], option.run_m
        assert (abs(start) > 1e-6) == (option.risers not in fixed)
        assert option.rise_m is not None
        case = oracle.Case(ground=ground, start=start, run=run, rise=option.rise_m, foot=option.foot_m, n=option.risers,
                           grid=0.05, tread=7, landing=20, p=0.01, q=0.01, top_is_grade=fields["top"] == "grade",
                           most=fields["flight_risers"])  # fmt: skip
        assert option.fit_m2 == pytest.approx(oracle.general_solver(case), abs=1e-9)


def test_a_screen_that_must_not_wait_asks_for_the_mends_of_one_count() -> None:
    fields: dict[str, object] = {"rise": "2 m", "run": "2 m", "tread": "0.4 m", "landing": "1.2 m"}
    brief = brief_of({}, fields)
    every = {r.risers: r.mends for r in solve(None, brief).refused}
    assert sum(map(bool, every.values())) > 5
    assert not any(r.mends for r in solve(None, brief, mend_all=False).refused)
    one = {r.risers: r.mends for r in solve(None, brief, 12, mend_all=False).refused}
    assert one == {risers: mends if risers == 12 else () for risers, mends in every.items()}
