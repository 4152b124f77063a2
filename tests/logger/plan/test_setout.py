"""Set-out against heights worked by hand, and crossings against a general root finder."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq

from logger.construction import Construction
from logger.errors import Refused
from logger.observation import Kind, Observation, Survey, Tape
from logger.profile import Ground, NamedPoint, Profile
from logger.reduction.adjustment import adjust
from logger.setout import crossings, marks_of, tape_at
from logger.steps.option import Option

FALL = 0.02


def line(*points: tuple[float, float]) -> Ground:
    return Ground(np.array([x for x, _ in points]), np.array([z for _, z in points]))


def test_each_face_is_front_minus_the_back_below(slope: Profile, option: Option, build: Construction) -> None:
    marks = marks_of(slope, option, build)
    below = marks.foot_m
    for mark in marks.marks:
        assert mark.front.finished_m is not None
        assert mark.back.finished_m is not None
        assert mark.front.finished_m - below == pytest.approx(option.face_m, abs=1e-12)
        assert mark.back.finished_m - mark.front.finished_m == pytest.approx(FALL * mark.depth_m, abs=1e-12)
        below = mark.back.finished_m
    assert below == pytest.approx(0.1 + 0.60, abs=1e-12), "the last back stands at the whole rise"


def test_layers_go_straight_down_from_the_finished_surface(slope: Profile, option: Option, build: Construction) -> None:
    first, landing, last = marks_of(slope, option, build).marks
    for mark, above, base in ((first, 0.28, 0.15), (landing, 0.09, 0.10), (last, 0.20, 0.15)):
        for end in (mark.front, mark.back):
            assert end.base_top_m == pytest.approx(end.finished_m - above, abs=1e-12)
            assert end.subgrade_m == pytest.approx(end.base_top_m - base, abs=1e-12)
            assert end.dig_m == pytest.approx(end.ground_m - end.subgrade_m, abs=1e-12)
    assert landing.front.ground_m == pytest.approx(0.1 + 0.4 * 0.3)
    assert [m.nosing_station_m for m in (first, landing, last)] == pytest.approx([0.98, 1.38, 2.58])
    assert [m.level_m for m in (first, landing, last)] == pytest.approx([0.0, 0.4, 1.6])


def test_local_depth_deepens_the_base_and_never_thins_it(slope: Profile, option: Option, build: Construction) -> None:
    deep = marks_of(slope, option, replace(build, least_depth_m=0.8)).marks
    for mark in deep:
        assert mark.front.subgrade_m == pytest.approx(mark.front.finished_m - 0.8, abs=1e-12)
    shallow = marks_of(slope, option, replace(build, least_depth_m=0.1)).marks
    assert shallow == marks_of(slope, option, build).marks


def test_heights_are_in_the_datum_of_the_walk(slope: Profile, option: Option, build: Construction) -> None:
    lifted = replace(
        slope,
        points=tuple(replace(p, elevation_m=p.elevation_m + 100) for p in slope.points),
        datum_elevation_m=100.0,
    )
    high = replace(option, foot_m=100.1, tops_m=tuple(t + 100 for t in option.tops_m))
    for low_mark, high_mark in zip(
        marks_of(slope, option, build).marks, marks_of(lifted, high, build).marks, strict=True
    ):
        assert high_mark.front.finished_m == pytest.approx(low_mark.front.finished_m + 100, abs=1e-9)
        assert high_mark.back.dig_m == pytest.approx(low_mark.back.dig_m, abs=1e-9)


def test_crossing_is_where_ground_meets_the_surface_below_prolonged(
    slope: Profile, option: Option, build: Construction
) -> None:
    first, second, third = (m.ground_crossings_m for m in marks_of(slope, option, build).marks)
    assert first == pytest.approx([1.0])
    f = option.face_m
    for k, found in ((1, second), (2, third)):
        assert found == pytest.approx([1.0 + k * f / (0.3 - FALL)], abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_crossings_agree_with_a_root_finder(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stations = np.cumsum(rng.uniform(0.2, 1.0, 40))
    ground = Ground(stations, rng.normal(0.0, 0.1, 40))
    found = crossings(ground, 3.0, 0.02, 0.01)

    def gap(x: float) -> float:
        return ground.at(x) - 0.02 - 0.01 * (x - 3.0)

    roots = [brentq(gap, a, b) for a, b in pairwise(stations) if (gap(a) > 0) != (gap(b) > 0)]
    assert found == pytest.approx(roots, abs=1e-9)
    assert len(found) > 1


def test_ground_that_never_gets_there_has_no_crossing(slope: Profile) -> None:
    assert crossings(slope.ground(), 1.0, 5.0, 0.0) == ()


def test_ground_lying_in_the_surface_is_given_by_its_ends() -> None:
    flat = line((0.0, -1.0), (1.0, 0.1), (2.0, 0.1), (3.0, 0.1), (4.0, 2.0))
    assert crossings(flat, 0.0, 0.1, 0.0) == pytest.approx([1.0, 3.0])


def test_ground_that_only_touches_counts_once() -> None:
    ridge = line((0.0, 0.0), (1.0, 0.5), (2.0, 0.0))
    assert crossings(ridge, 0.0, 0.5, 0.0) == pytest.approx([1.0])


def test_crossings_are_not_shown_where_the_slope_is_dug(slope: Profile, option: Option, build: Construction) -> None:
    before = marks_of(slope, option, build)
    first, second, third = (m.ground_crossings_m for m in before.marks)
    dug = marks_of(replace(slope, dug_m=(1.0, second[0] + 0.01)), option, build)
    assert [m.ground_crossings_m for m in dug.marks] == [(), (), third]
    assert first
    assert third
    assert any("no ground crossings there" in note for note in dug.notes)


def test_tape_is_held_as_in_the_walk(slope: Profile) -> None:
    ground = slope.ground()
    assert tape_at(3.0, ground, Tape.LEVEL) == 3.0
    assert tape_at(3.0, ground, Tape.TAUT) == pytest.approx(math.hypot(3.0, 0.7))
    assert tape_at(3.0, ground, Tape.GROUND) == pytest.approx(math.hypot(1.0, 0.1) + math.hypot(2.0, 0.6))
    assert tape_at(2.0, ground, Tape.GROUND) == pytest.approx(math.hypot(1.0, 0.1) + math.hypot(1.0, 0.3))


def test_stakes_stand_at_foot_landing_ends_and_head_clear_of_the_digging(
    slope: Profile, option: Option, build: Construction
) -> None:
    stakes = marks_of(slope, option, replace(build, cheek_m=0.2)).stakes
    assert sorted({s.station_m for s in stakes}) == pytest.approx([1.0, 1.4, 2.6, 3.0])
    assert [s.name for s in stakes] == [f"S{i}" for i in range(1, 9)]
    assert {(s.side, round(s.offset_m, 3)) for s in stakes} == {("left", 1.41), ("right", 1.41)}
    assert all(s.top_m is None and s.down_to_base_m is None for s in stakes)


def test_a_driven_stake_gets_its_cuts(slope: Profile, option: Option, build: Construction) -> None:
    seen = replace(slope, named=(NamedPoint("S3", 0.9, 0.001),))
    plan = marks_of(seen, option, build)
    stake = next(s for s in plan.stakes if s.name == "S3")
    landing = plan.marks[1].front
    assert stake.down_to_nosing_m == pytest.approx(0.9 - landing.finished_m)
    assert stake.down_to_base_m == pytest.approx(0.9 - landing.base_top_m)
    assert stake.down_to_subgrade_m == pytest.approx(0.9 - landing.subgrade_m)


def test_last_riser_against_the_grade_has_an_edge_and_no_tread(
    slope: Profile, option: Option, build: Construction
) -> None:
    option = replace(option, depths_m=(0.4, 1.2))
    last = marks_of(slope, option, build).marks[-1]
    assert last.front.base_top_m is not None
    assert last.depth_m is None
    assert last.back.finished_m is None


def test_no_layers_no_guesses(slope: Profile, option: Option) -> None:
    plan = marks_of(slope, option, Construction(width_m=1.0))
    assert all(m.front.base_top_m is None and m.front.dig_m is None for m in plan.marks)
    assert any("no layers" in note for note in plan.notes)


def test_assumed_ground_is_refused(slope: Profile, option: Option, build: Construction) -> None:
    with pytest.raises(Refused, match="walk it"):
        marks_of(replace(slope, estimate_only=True), option, build)
    with pytest.raises(Refused, match="pressure of the air"):
        marks_of(replace(slope, by_air=True), option, build)


@pytest.mark.parametrize("tape", list(Tape))
def test_tape_reads_at_a_mark_what_it_read_in_the_walk(tape: Tape) -> None:
    shown = ((0.0, 0.0), (1.5, 0.31), (3.0, 0.94), (4.5, 1.02), (7.0, 2.2))
    zero = Observation(1, Kind.BENCHMARK, 1, 0.0, 0.0, 1e-4, name="BM", elevation_m=0.0)
    seen = [Observation(2 + i, Kind.STATION, 1, 1.0 + i, z, 1e-4, tape_m=t) for i, (t, z) in enumerate(shown)]
    profile = adjust(Survey((zero, *seen), tape=tape)).profile
    assert profile.tape is tape
    for point, (read, _) in zip(profile.points, shown, strict=True):
        assert tape_at(point.station_m, profile.ground(), profile.tape) == pytest.approx(read, abs=1e-9)
