"""Volumes against closed forms of solids and a general integrator."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import dblquad

from logger.construction import Construction
from logger.earthworks import Across, Soil, dig, section_areas, volume_between
from logger.errors import WrongFile
from logger.profile import Ground, Profile, ProfilePoint
from logger.setout import marks_of
from logger.steps.option import Option


def ground(*points: tuple[float, float, float]) -> Profile:
    return Profile(tuple(ProfilePoint(x, o, z, 0.001) for x, o, z in sorted(points)))


def level(start: float, end: float, height: float) -> Ground:
    return Ground(np.array([start, end]), np.array([height, height]))


def test_prism_is_length_by_width_by_depth() -> None:
    flat = Across(ground((0, 0, 1.0), (10, 0, 1.0)))
    volumes = volume_between(flat, level(2.0, 7.0, 0.4), 0.75)
    assert volumes.cut_m3 == pytest.approx(5.0 * 1.5 * 0.6)
    assert volumes.fill_m3 == 0.0
    assert volumes.deepest_m == pytest.approx(0.6)


def test_wedge_is_half_a_prism_and_turns_into_fill_at_its_edge() -> None:
    slope = Across(ground((0, 0, -1.0), (4, 0, 1.0)))
    volumes = volume_between(slope, level(0.0, 4.0, 0.0), 1.0)
    assert volumes.cut_m3 == pytest.approx(1 / 2 * 2.0 * 1.0 * 2.0)
    assert volumes.fill_m3 == pytest.approx(1 / 2 * 2.0 * 1.0 * 2.0)


def test_cross_fall_is_taken_from_left_centre_and_right() -> None:
    cross = [(x, o, z) for x in (0.0, 4.0) for o, z in ((-1.0, 0.2), (0.0, 0.5), (1.0, 1.0))]
    volumes = volume_between(Across(ground(*cross)), level(0.0, 4.0, 0.0), 1.0)
    assert volumes.cut_m3 == pytest.approx(4.0 * ((0.2 + 0.5) / 2 + (0.5 + 1.0) / 2))


def test_warped_ground_agrees_with_a_general_integrator() -> None:
    points = [(0, 0, 0.2), (3, 0, 0.5), (0, -1, 0.1), (3, -1, -0.3), (0, 1, 0.6), (3, 1, 0.9)]
    across = Across(ground(*((float(x), float(o), z) for x, o, z in points)))
    volumes = volume_between(across, level(0.0, 3.0, 0.1), 0.8)
    cut, _ = dblquad(lambda o, x: max(0.0, across.at(x, o) - 0.1), 0, 3, -0.8, 0.8, epsabs=1e-4)
    fill, _ = dblquad(lambda o, x: max(0.0, 0.1 - across.at(x, o)), 0, 3, -0.8, 0.8, epsabs=1e-4)
    assert volumes.cut_m3 == pytest.approx(cut, rel=0.01)
    assert volumes.fill_m3 == pytest.approx(fill, rel=0.05)


def test_section_with_cut_and_fill_splits_at_its_zero() -> None:
    cut, fill = section_areas(np.array([0.3, -0.1]), np.array([0.0, 4.0]))
    assert cut == pytest.approx(0.3 * 3.0 / 2)
    assert fill == pytest.approx(0.1 * 1.0 / 2)


def test_whole_job_by_hand(slope: Profile, option: Option, build: Construction) -> None:
    wide = replace(build, beside_m=0.15)
    work = dig(slope, marks_of(slope, option, wide), wide, Soil(swell=1.3, topsoil_m=0.1))
    width = 1.2 + 0.3
    assert (work.width_m, work.length_m) == (pytest.approx(width), pytest.approx(2.15))
    assert work.base_m3 == pytest.approx(width * (0.55 * 0.15 + 1.2 * 0.10 + 0.4 * 0.15))
    assert work.base_loose_m3 == pytest.approx(work.base_m3 * 1.2)
    assert work.bedding_m3 == pytest.approx(1.2 * 2.15 * 0.03)
    assert work.volumes.topsoil_m3 == pytest.approx(min(work.volumes.cut_m3, 0.1 * width * 2.15))
    assert work.spoil_loose_m3 == pytest.approx(1.3 * work.spoil_bank_m3)
    net = 0.0
    for mark in marks_of(slope, option, wide).marks:
        start = mark.face_station_m - (0.15 if mark.riser == 1 else 0.0)
        end = mark.face_station_m + mark.depth_m
        x = np.linspace(start, end, 20001)
        line = mark.front.subgrade_m + 0.02 * (x - mark.face_station_m)
        gap = np.interp(x, [0, 1, 3, 4], [0, 0.1, 0.7, 0.7]) - line
        net += float(np.trapezoid(gap, x)) * width
    assert work.volumes.cut_m3 - work.volumes.fill_m3 == pytest.approx(net, abs=1e-6)


def test_fill_takes_more_of_the_cut_where_it_shrinks(slope: Profile, option: Option, build: Construction) -> None:
    high = replace(option, foot_m=0.25, tops_m=tuple(top + 0.15 for top in option.tops_m))
    plan = marks_of(slope, high, build)
    plain, shrunk = (dig(slope, plan, build, Soil(shrink=s)) for s in (1.0, 0.9))
    assert plain.volumes.fill_m3 > 0
    assert shrunk.spoil_bank_m3 > 0
    less = plain.volumes.fill_m3 / 0.9 - plain.volumes.fill_m3
    assert shrunk.spoil_bank_m3 == pytest.approx(plain.spoil_bank_m3 - less)


def test_deep_cut_is_flagged(slope: Profile, option: Option, build: Construction) -> None:
    deep = replace(build, least_depth_m=1.6)
    work = dig(slope, marks_of(slope, option, deep), deep, Soil())
    assert any("shore" in warning for warning in work.warnings)


def test_missing_width_and_layers_are_all_named(slope: Profile, option: Option) -> None:
    with pytest.raises(WrongFile, match=r"width.*unit.*base"):
        dig(slope, marks_of(slope, option, Construction()), Construction(), Soil())


def test_one_slope_lies_at_or_under_every_bench_and_its_base_fills_up(
    slope: Profile, option: Option, build: Construction
) -> None:
    benched = marks_of(slope, option, build)
    sloped = replace(build, benched=False)
    plan = marks_of(slope, option, sloped)
    ends = []
    for mark, bench in zip(plan.marks, benched.marks, strict=True):
        assert mark.front.subgrade_m <= bench.front.subgrade_m + 1e-12
        assert mark.back.subgrade_m <= bench.back.subgrade_m + 1e-12
        assert mark.front.dig_m == pytest.approx(mark.front.ground_m - mark.front.subgrade_m)
        ends += [
            (mark.face_station_m, mark.front.subgrade_m),
            (mark.face_station_m + mark.depth_m, mark.back.subgrade_m),
        ]
    (x0, z0), (x1, z1) = ends[0], ends[-1]
    assert all(z == pytest.approx(z0 + (z1 - z0) * (x - x0) / (x1 - x0), abs=1e-12) for x, z in ends)
    stepped, straight = (dig(slope, p, b, Soil()) for p, b in ((benched, build), (plan, sloped)))
    more = straight.base_m3 - stepped.base_m3
    net = [w.volumes.cut_m3 - w.volumes.fill_m3 for w in (stepped, straight)]
    assert more > 0
    assert net[1] - net[0] == pytest.approx(more, abs=1e-9), "what is dug more is filled with base"


def test_trenches_for_cheek_walls_by_hand(option: Option, build: Construction) -> None:
    flat = ground((0, 0, 0.0), (5, 0, 0.0))
    walled = replace(build, cheek_m=0.25, cheek_buried_m=3.0)
    plan = marks_of(flat, option, walled)
    work = dig(flat, plan, walled, Soil())
    by_hand = 0.0
    for mark in plan.marks:
        mean = (mark.front.subgrade_m + mark.back.subgrade_m) / 2
        by_hand += 2 * 0.25 * mark.depth_m * (mean + 3.0)
    assert work.trench_m3 == pytest.approx(by_hand)
    shallow = replace(walled, cheek_buried_m=0.0)
    assert dig(flat, plan, shallow, Soil()).trench_m3 == 0.0


def test_cheek_walls_follow_the_ground_on_their_own_side(option: Option, build: Construction) -> None:
    sides = [(x, o, z) for x in (0.0, 5.0) for o, z in ((-1.0, 0.3), (0.0, 0.0), (1.0, -0.3))]
    tilted = ground(*sides)
    walled = replace(build, cheek_m=0.2, cheek_buried_m=0.4, cheek_above_m=0.1)
    plan = marks_of(tilted, option, walled)
    left, right = dig(tilted, plan, walled, Soil()).cheek_m2
    at_edge = 0.3 * 0.6
    whole = sum(m.depth_m * ((m.front.finished_m + m.back.finished_m) / 2 + 0.1 + 0.4) for m in plan.marks)
    assert left == pytest.approx(whole - 2.0 * at_edge)
    assert right == pytest.approx(whole + 2.0 * at_edge)


def test_published_end_areas() -> None:
    # Wikibooks, Fundamentals of Transportation, Earthwork, solved problem: fill areas of 60, 50, 25 and 5 m2 at
    # stations 0, 50, 75 and 100 m, by average end area: 2750 + 937.5 + 375 m3 (its zero ends are pyramids, not ours).
    areas = ((0.0, 60.0), (50.0, 50.0), (75.0, 25.0), (100.0, 5.0))
    wide = 10.0
    low = Across(ground(*((x, 0.0, -area / wide) for x, area in areas)))
    strips = [volume_between(low, level(a, b, 0.0), wide / 2).fill_m3 for a, b in ((0, 50), (50, 75), (75, 100))]
    assert strips == pytest.approx([2750.0, 937.5, 375.0])
