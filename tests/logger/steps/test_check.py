"""Every plan verified apart from the solver; and the verifier finds what is wrong."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.observation import Kind, Observation, Survey
from logger.profile import Ground, Profile, ProfilePoint
from logger.reduction.adjustment import adjust
from logger.steps.brief import brief_of
from logger.steps.check import mistakes
from logger.steps.fit import Line
from logger.steps.option import Option
from logger.steps.solve import solve

BASE: dict[str, object] = {"run": "6.4 m", "tread": "0.4 m", "landing": "1.2 m", "grid": "5 cm", "fall": "1 %"}
KINDS: list[dict[str, object]] = [
    {},
    {"equal": "nosing", "fall": "2 %"},
    {"landing_fall": "2 %"},
    {"top": "grade"},
    {"last_tread": "0.5 m"},
    {"last_tread": "1.3 m"},
    {"tread_max": "0.5 m"},
    {"run": "6.43 m"},
    {"run": "6.43 m", "top": "grade"},
    {"flight_risers": 5, "flight_min": 2},
    {"landing_step": "0.4 m"},
    {"unit.kind": "whole", "unit.height": "0.15 m", "unit.fall_max": "3 %", "unit.fall_min": "0", "unit.bury": "4 cm"},
    {
        "unit.kind": "courses",
        "unit.height": "0.1 m",
        "unit.cap": "5 cm",
        "unit.foot_up": "8 cm",
        "unit.head_up": "8 cm",
    },
    {"start_slack": "0.4 m"},
]


def rough(seed: int, rise: float = 1.9, length: float = 7.0) -> Profile:
    rng = np.random.default_rng(seed)
    x = np.linspace(0, length, 15)
    z = rise * x / length + rng.normal(0, 0.06, 15)
    return Profile(tuple(ProfilePoint(float(a), 0.0, float(b), 0.002) for a, b in zip(x, z, strict=True)))


def options_of(profile: Profile, fields: dict[str, object]) -> tuple[Option, ...]:
    return solve(profile, brief_of({}, BASE | fields)).options


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_plans_hold(kind: dict[str, object]) -> None:
    found = 0
    for seed in range(6):
        profile = rough(seed)
        brief = brief_of({}, BASE | kind)
        for option in solve(profile, brief).options:
            assert mistakes(option, brief, profile.ground()) == []
            found += 1
    assert found


def test_the_verifier_finds_what_is_wrong() -> None:
    profile, brief = rough(1), brief_of({}, BASE)
    option = next(o for o in solve(profile, brief).options if o.landings)
    tampered = [
        replace(option, fit_m2=option.fit_m2 + 1e-6),
        replace(option, treads=option.treads + 1),
        replace(option, tops_m=(option.tops_m[0] + 1e-4, *option.tops_m[1:])),
        replace(option, depths_m=(option.depths_m[0] + 0.01, *option.depths_m[1:])),
        replace(option, landings=()),
        replace(option, face_m=option.face_m + 1e-4),
        replace(option, ground_above_m2=option.ground_above_m2 + 1e-6),
    ]
    for wrong in tampered:
        assert mistakes(wrong, brief, profile.ground())


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_weights_scale_the_fit(seed: int) -> None:
    profile = rough(seed)
    one = {o.risers: o.fit_m2 for o in options_of(profile, {"above_weight": 3, "below_weight": 5})}
    ten = {o.risers: o.fit_m2 for o in options_of(profile, {"above_weight": 30, "below_weight": 50})}
    assert one.keys() == ten.keys()
    for risers, fit in one.items():
        assert ten[risers] == pytest.approx(10 * fit, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), kind=st.sampled_from(KINDS[:4]))
def test_a_finer_grid_never_costs_more(seed: int, kind: dict[str, object]) -> None:
    profile = rough(seed)
    coarse = {o.risers: o.fit_m2 for o in options_of(profile, kind)}
    fine = {o.risers: o.fit_m2 for o in options_of(profile, {**kind, "grid": "2.5 cm"})}
    for risers, fit in coarse.items():
        assert fine[risers] <= fit + 1e-12


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_mirrored_ground_and_surface_swap_what_is_above_and_below(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ground = rough(seed).ground()
    begins = np.unique(np.concatenate(([0.0], rng.uniform(0, 6, 8))))
    heights, slopes = rng.normal(0.8, 0.6, len(begins)), rng.normal(0, 0.05, len(begins))
    above, below = Line(ground, 0.0).areas(begins, np.append(begins[1:], 6.5), heights, slopes)
    turned = Line(Ground(ground.stations_m, -ground.elevations_m), 0.0).areas(
        begins, np.append(begins[1:], 6.5), -heights, -slopes
    )
    assert turned[0] == pytest.approx(below, abs=1e-12)
    assert turned[1] == pytest.approx(above, abs=1e-12)


def test_errors_common_to_foot_and_head_cancel() -> None:
    points = (ProfilePoint(0, 0, 0, 0.01), ProfilePoint(6.4, 0, 1.9, 0.01))
    common = Profile(points, covariance_m2=np.full((2, 2), 1e-4))
    apart = Profile(points)
    fields = BASE | {"fall": 0}
    sure = solve(common, brief_of({}, fields)).options[0].certainty
    unsure = solve(apart, brief_of({}, fields)).options[0].certainty
    assert sure is not None
    assert unsure is not None
    assert sure.u_rise_m == pytest.approx(0, abs=1e-9)
    assert sure.even_chance == 1
    assert unsure.u_rise_m == pytest.approx(0.01 * 2**0.5)
    # 3/8 in is 0.6735 standard uncertainties of 14.14 mm; the normal distribution holds 0.4994 within it
    assert unsure.even_chance == pytest.approx(0.4994, abs=2e-4)


@pytest.mark.parametrize(
    ("fields", "expected"),
    [({"foot": "walk", "head": "patio"}, 0.5), ({"foot": "walk"}, 0.36), ({"head": "patio"}, 0.5), ({}, 0.36)],
)
def test_what_named_points_share_with_the_ground_cancels(fields: dict[str, str], expected: float) -> None:
    """One setup: the zero is off by 5 mm for all. Heights apart are 0.3 and 0.4 mm (points), 0.3 and 0.2 mm (ground)."""
    zero = Observation(1, Kind.BENCHMARK, 1, 0.0, 0.0, 5e-3, name="BM", elevation_m=0.0)
    ground = [
        Observation(2, Kind.STATION, 1, 1.0, 0.0, 3e-4, tape_m=0.0),
        Observation(3, Kind.STATION, 1, 2.0, 1.9, 2e-4, tape_m=6.4),
        Observation(4, Kind.POINT, 1, 3.0, 0.0, 3e-4, name="walk"),
        Observation(5, Kind.POINT, 1, 4.0, 1.9, 4e-4, name="patio"),
    ]
    profile = adjust(Survey((zero, *ground))).profile
    assert profile.named[-1].u_m > 5e-3
    sure = solve(profile, brief_of({}, BASE | {"fall": 0} | fields)).options[0].certainty
    assert sure is not None
    assert sure.u_rise_m == pytest.approx(expected * 1e-3, abs=1e-5)


@pytest.mark.parametrize("fall", ["0 %", "1 %", "2 %", "3 %"])
def test_the_chance_is_that_of_simulated_ground(fall: str) -> None:
    """The last riser takes up the error; the first of a flight is lower than the others by the fall of a tread."""
    rng = np.random.default_rng(5)
    profile = rough(3)
    u = 0.004
    points = tuple(replace(p, u_m=u) for p in profile.points)
    errors = rng.normal(0, u, 100_000) - rng.normal(0, u, 100_000)
    for ground, wrong in (
        (replace(profile, points=points), errors),
        (replace(profile, estimate_only=True), 0 * errors),
    ):
        for option in solve(ground, brief_of({}, {**BASE, "run": "7 m", "fall": fall})).options:
            sure = option.certainty
            assert sure is not None
            after = max((at.after_riser for at in option.landings if at.after_riser < option.risers), default=0)
            tops = np.array([option.tops_m[after] - option.faces_m[after], *option.tops_m[after:]])
            climbs = np.tile(np.diff(tops), (len(wrong), 1))
            climbs[:, -1] += wrong
            even = (np.ptp(climbs, axis=1) <= sure.even_within_m) | (climbs.shape[1] == 1)
            assert sure.even_chance == pytest.approx(np.mean(even), abs=0.005)
