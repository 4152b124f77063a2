"""Live guidance: words, hysteresis, bells, and the zero asked for again."""

from dataclasses import replace

import pytest

from drivers.lengths import Units
from logger.construction import Construction
from logger.guidance import Guide, Level, Say, Target, Way, ZeroWatch, targets
from logger.profile import Profile
from logger.setout import marks_of
from logger.steps.option import Option

MARK = Target(2, "front", Level.BASE_TOP, 1.000, 3.0)
LINE = Target(2, "ground", Level.CROSSING, 1.000, 3.0, slope=0.25)


def test_work_below_the_mark_is_raised_and_above_it_lowered() -> None:
    guide = Guide(MARK, Way.CHECK, 0.003)
    assert guide.heard(0.980).words(Units.MILLIMETRES) == "raise 20 mm"
    assert guide.heard(1.0127).words(Units.FEET_INCHES) == "lower 0'-0 1/2\""
    assert guide.heard(1.002).say is Say.ON_GRADE


def test_on_holds_until_well_out_and_rings_once() -> None:
    guide = Guide(MARK, Way.CHECK, 0.004)
    heights = (0.9950, 0.9965, 0.9945, 0.9955, 0.9935, 0.9955, 0.9965)
    told = [guide.heard(h) for h in heights]
    raised, on = Say.RAISE, Say.ON_GRADE
    assert [t.say for t in told] == [raised, on, on, on, raised, raised, on]
    assert [t.bell for t in told] == [0, 2, 0, 0, 0, 0, 2]


def test_unsteady_readings_say_hold_and_forget_nothing() -> None:
    guide = Guide(MARK, Way.CHECK, 0.004)
    assert guide.heard(1.0).bell == 2
    assert guide.heard(0.9, steady=False).say is Say.HOLD
    back = guide.heard(0.9945)
    assert (back.say, back.bell) == (Say.ON_GRADE, 0)


def test_line_is_found_by_going_up_or_down_the_slope() -> None:
    guide = Guide(LINE, Way.FIND, 0.003)
    below = guide.heard(0.9)
    assert (below.say, below.go_m) == (Say.UPHILL, pytest.approx(0.4))
    assert below.words(Units.METRES) == "up the slope about 0.400 m, 0.100 m of height to go"
    assert guide.heard(1.05).say is Say.DOWNHILL
    assert guide.heard(1.001).say is Say.ON_LINE


def test_flat_ground_gives_no_distance() -> None:
    told = Guide(Target(1, "ground", Level.CROSSING, 0.0, 0.0, slope=0.001), Way.FIND).heard(-0.05)
    assert told.go_m is None


def test_far_off_the_line_only_the_height_is_said() -> None:
    guide = Guide(replace(LINE, slope=0.025), Way.FIND)
    told = guide.heard(LINE.height_m + 0.4)
    assert told.go_m is None
    assert "about" not in told.words(Units.METRES)
    assert guide.heard(LINE.height_m + 0.05).go_m == pytest.approx(2.0)
    assert "about" not in told.words(Units.METRES)


def test_zero_is_due_at_first_after_a_gap_and_after_the_interval() -> None:
    watch = ZeroWatch(interval_s=1800)
    assert watch.due(0.0)
    watch.observed(10.0)
    assert not watch.due(1809.0)
    assert watch.due(1810.0)
    watch.observed(1811.0)
    watch.link_lost()
    assert watch.due(1812.0)


def test_targets_are_the_heights_of_the_marks(slope: Profile, option: Option, build: Construction) -> None:
    plan, ground = marks_of(slope, option, build), slope.ground()
    base = targets(plan, Level.BASE_TOP, ground)
    assert [(t.riser, t.place) for t in base] == [(k, end) for k in (1, 2, 3) for end in ("front", "back")]
    assert [t.height_m for t in base[:2]] == [plan.marks[0].front.base_top_m, plan.marks[0].back.base_top_m]
    crossing = targets(plan, Level.CROSSING, ground)
    assert [t.station_m for t in crossing] == [m.ground_crossings_m[0] for m in plan.marks]
    assert crossing[1].slope == pytest.approx(0.3)
    assert targets(marks_of(slope, option, Construction()), Level.BASE_TOP, ground) == ()


def test_each_bench_has_its_own_stations_a_little_inside(slope: Profile, option: Option, build: Construction) -> None:
    plan = marks_of(slope, option, replace(build, edge_m=0.3))
    deep = targets(plan, Level.SUBGRADE, slope.ground())
    assert [t.place for t in deep if t.riser == 2] == ["front", "edge back", "bench front", "back"]
    stations = [t.station_m for t in deep]
    assert stations == sorted(stations)
    assert len(set(stations)) == len(stations), "benches that meet are never one point"
    edge, bench = plan.marks[1].beds
    assert [t.station_m for t in deep if t.riser == 2] == pytest.approx([1.425, 1.675, 1.725, 2.575])
    assert deep[3].height_m == pytest.approx(edge.back.subgrade_m - 0.02 * 0.025)
    assert deep[4].height_m == pytest.approx(bench.front.subgrade_m + 0.02 * 0.025)
