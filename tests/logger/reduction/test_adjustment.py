"""The adjustment against published nets, against dense generalised least squares, and in the cases a walk brings."""

import math
import random

import numpy as np
import pytest

from logger.errors import Refused
from logger.observation import Instrument, Kind, Observation, Surface, Survey, Tape
from logger.reduction.adjustment import Adjustment, adjust
from logger.reduction.closure import Status, Tolerance
from logger.reduction.points import PointKey


def seen(n: int, kind: Kind, setup: int, height_m: float, **more: object) -> Observation:
    given: dict[str, object] = {"t_s": n * 60.0, "u_m": 0.0003} | more
    return Observation(n=n, kind=kind, setup=setup, height_m=height_m, **given)  # type: ignore[arg-type]


def level_net(lines: list[tuple[str, str, float, float]], known: dict[str, float]) -> Adjustment:
    """A net of levelled differences: each line is a setup of its own, its variance shared by its two sights."""
    sights = []
    for setup, (one, other, rise, variance) in enumerate(lines, 1):
        for name, height in ((one, 0.0), (other, rise)):
            kind = Kind.BENCHMARK if name in known else Kind.TURN
            u_m = math.sqrt(variance / 2.0)
            sights.append(
                seen(len(sights) + 1, kind, setup, height, name=name, elevation_m=known.get(name), u_m=u_m, t_s=0.0)
            )
    return adjust(Survey(tuple(sights)))


def test_net_of_eight_lines_with_one_fixed_point() -> None:
    # Mikhail and Ackermann 1976, table 7-1 and example 7.4; variance 0.1 x distance in km; results computed apart.
    lines = [
        ("A", "B", 25.42, 18.1), ("B", "C", 10.34, 9.4), ("C", "A", -35.20, 14.2), ("B", "D", -15.54, 17.6),
        ("D", "E", 21.32, 13.5), ("E", "C", 4.82, 9.9), ("E", "A", -31.02, 13.8), ("C", "D", -26.11, 14.0),
    ]  # fmt: skip
    result = level_net([(a, b, rise, 0.1 * km) for a, b, rise, km in lines], {"A": 800.0})
    found = {n.name: n.elevation_m for n in result.named}
    assert found == pytest.approx({"A": 800, "B": 825.2206, "C": 835.5354, "D": 809.5339, "E": 830.8460}, abs=5e-5)
    assert result.redundancy == 4
    assert result.sigma0 is not None
    assert result.sigma0**2 == pytest.approx(0.04043, abs=5e-6)
    corrections = [-0.1994, -0.0252, -0.3354, -0.1467, -0.0079, -0.1306, 0.1740, 0.1085]
    over_line = [result.residuals[2 * i].residual_m - result.residuals[2 * i + 1].residual_m for i in range(8)]
    assert over_line == pytest.approx(corrections, abs=6e-5)


@pytest.mark.parametrize(
    ("weighted", "due", "sigma0"),
    [(False, (105.141, 104.483, 106.188), 0.050), (True, (105.150, 104.489, 106.197), 0.107)],
)
def test_net_between_two_benchmarks(weighted: bool, due: tuple[float, ...], sigma0: float) -> None:
    # Ghilani, Adjustment Computations (inputs from memory; results computed apart, weights 12 over distance).
    lines = [
        ("X", "A", 5.10, 4), ("A", "Y", 2.34, 3), ("Y", "C", -1.25, 2), ("C", "X", -6.13, 3),
        ("A", "B", -0.68, 2), ("Y", "B", -3.00, 2), ("B", "C", 1.70, 2),
    ]  # fmt: skip
    net = [(a, b, rise, miles / 12 if weighted else 1.0) for a, b, rise, miles in lines]
    result = level_net(net, {"X": 100.0, "Y": 107.5})
    found = {n.name: n.elevation_m for n in result.named}
    assert [found[name] for name in "ABC"] == pytest.approx(due, abs=5e-4)
    assert result.sigma0 == pytest.approx(sigma0, abs=5e-4)


def walk(rnd: random.Random, *, warm: bool = False) -> Survey:
    """A random walk of three setups with repeated zeros, turning points and stations, some observed twice."""
    sights: list[Observation] = []
    setup_zero = {1: 0.3, 2: -0.8, 3: -1.9}
    truth = {"BM": 10.0, "TP1": 11.1, "TP2": 12.2, "sill": 13.0} | {i: 10.0 + 0.15 * i for i in range(20)}

    def add(setup: int, name: str | int, **more: object) -> None:
        height = truth[name] + setup_zero[setup] + rnd.gauss(0, 0.0005)
        kind = Kind.STATION if isinstance(name, int) else Kind.BENCHMARK if name == "BM" else Kind.TURN
        place: dict[str, object] = {"tape_m": name * 0.5} if isinstance(name, int) else {"name": name}
        place |= {"temperature_c": 15.0 + len(sights) * 0.1} if warm else {}
        known = 10.0 if name == "BM" else None
        u_m = rnd.uniform(0.0002, 0.001)
        n = len(sights) + 1
        sights.append(seen(n, kind, setup, height, elevation_m=known, t_s=n * 45.0, u_m=u_m, **place, **more))

    for name in ("BM", 0, 1, 2, 3, 4, 5, 6, 7, "TP1", "BM"):
        add(1, name)
    for name in ("TP1", 7, 8, 9, 10, 11, "TP2", "TP1"):
        add(2, name)
    for name in ("TP2", 11, 12, 13, 14, 15, "sill", 3, "TP2"):
        add(3, name)
    return Survey(tuple(sights), instrument=Instrument(0.0001, 0.001, 0.0008, 0.001))


def dense(survey: Survey) -> tuple[list[str], np.ndarray, np.ndarray, float]:
    """Generalised least squares with every error as a covariance between readings: nothing shared with the project."""
    sights = survey.observations
    n = len(sights)
    names = list(dict.fromkeys(o.name or f"{o.tape_m}" for o in sights))
    free = [name for name in names if name != "BM"]
    setups = sorted({o.setup for o in sights})
    design = np.zeros((n, len(free) + len(setups)))
    height = np.array([o.height_m for o in sights])
    y = height.copy()
    for i, o in enumerate(sights):
        name = o.name or f"{o.tape_m}"
        if name == "BM":
            y[i] -= 10.0
        else:
            design[i, free.index(name)] = 1.0
        design[i, len(free) + setups.index(o.setup)] = 1.0
    first = {s: next(o for o in sights if o.setup == s) for s in setups}
    hours = np.array([(o.t_s - first[o.setup].t_s) / 3600 for o in sights])
    same = np.array([[a.setup == b.setup for b in sights] for a in sights])
    apart = height[:, None] - height[None, :]
    instrument = survey.instrument
    covariance = np.diag([o.u_m**2 for o in sights])
    about = height - (height.min() + height.max()) / 2
    covariance += instrument.scale_u**2 * np.outer(about, about)
    for length, share in ((8, 0.5), (4, 0.3), (2, 0.2)):
        covariance += share * instrument.accuracy_u_m**2 * np.cos(2 * np.pi * apart / length)
    drift = np.outer(hours, hours) + np.minimum.outer(hours, hours)
    covariance += same * instrument.drift_u_m_per_h**2 * drift
    warming = hours * np.array([o.height_m - first[o.setup].height_m for o in sights])
    covariance += same * (3 * 2.1e-4) ** 2 * np.outer(warming, warming)
    weight = np.linalg.inv(covariance)
    spread = np.linalg.inv(design.T @ weight @ design)
    x = spread @ design.T @ weight @ y
    left = y - design @ x
    return free, x, spread, float(left @ weight @ left)


@pytest.mark.parametrize("seed", range(5))
def test_equal_to_dense_generalised_least_squares(seed: int) -> None:
    survey = walk(random.Random(seed))
    names, x, spread, quadratic = dense(survey)
    result = adjust(survey)
    keys = [PointKey(Kind.STATION, tape_m=float(n)) if n[0].isdigit() else PointKey(Kind.POINT, name=n) for n in names]
    assert [result.heights[k].elevation_m for k in keys] == pytest.approx(x[: len(names)], abs=1e-9)
    assert result.sigma0 is not None
    assert result.sigma0**2 * result.redundancy == pytest.approx(quadratic, rel=1e-6)
    factor = max((25 + quadratic) / (25 + result.redundancy), 1.0)
    ours = np.array([[result.covariance(a, b) for b in keys] for a in keys])
    assert ours == pytest.approx(factor * spread[: len(names), : len(names)], rel=1e-6, abs=1e-15)


def test_redundancy_is_observations_less_unknowns() -> None:
    survey = walk(random.Random(1))
    points = {o.name or o.tape_m for o in survey.observations} - {"BM"}
    assert adjust(survey).redundancy == len(survey.observations) - len(points) - 3


def single(zero_again_m: float = 0.0, **more: object) -> Survey:
    sights = [seen(1, Kind.BENCHMARK, 1, 1.0, name="BM", elevation_m=0.0)]
    sights += [seen(2 + i, Kind.STATION, 1, 1.0 + 0.1 * i, tape_m=float(i)) for i in range(8)]
    sights.append(seen(10, Kind.BENCHMARK, 1, 1.0 + zero_again_m, name="BM", elevation_m=0.0))
    return Survey(tuple(sights), **more)  # type: ignore[arg-type]


def test_elevation_is_the_benchmark_plus_what_was_shown_above_it() -> None:
    result = adjust(single())
    assert [p.elevation_m for p in result.profile.points] == pytest.approx([0.1 * i for i in range(8)], abs=1e-12)
    assert [p.station_m for p in result.profile.points] == [float(i) for i in range(8)]
    assert result.closure.misclosure_m == 0.0


@pytest.mark.parametrize(("missed_m", "status"), [(0.0029, Status.PASS), (-0.0029, Status.PASS), (0.0031, Status.FAIL)])
def test_misclosure_is_last_less_first_zero_against_three_millimetres(missed_m: float, status: Status) -> None:
    closing = adjust(single(missed_m)).closure
    assert closing.misclosure_m == pytest.approx(missed_m, abs=1e-12)
    assert closing.tolerance_m == 0.003
    assert closing.status is status


def test_uncertain_zeros_widen_the_tolerance_to_twice_the_uncertainty_of_their_difference() -> None:
    sights = list(single(0.004).observations)
    rough = [sights[0], *sights[1:-1], seen(10, Kind.BENCHMARK, 1, 1.004, name="BM", elevation_m=0.0, u_m=0.002)]
    closing = adjust(Survey(tuple(rough))).closure
    assert closing.tolerance_m == pytest.approx(2 * math.hypot(0.0003, 0.002))
    assert closing.status is Status.PASS


def test_own_tolerance_and_class_with_its_floor() -> None:
    assert adjust(single(0.002), tolerance=0.001).closure.status is Status.FAIL
    by_class = adjust(single(0.002), tolerance=Tolerance(per_root_km_m=0.012)).closure
    assert by_class.tolerance_m == 0.003  # 12 mm x sqrt(0.014 km) = 1.4 mm lies under the floor
    long = adjust(single(0.004), tolerance=Tolerance(per_root_km_m=0.012, length_m=1000.0)).closure
    assert long.tolerance_m == 0.012


def test_drift_is_found_and_taken_out_within_its_prior() -> None:
    survey = single(0.0009, instrument=Instrument(drift_u_m_per_h=0.01))
    result = adjust(survey)
    rate = 0.0009 / (540 / 3600)
    assert result.drift_m_per_h[0] == pytest.approx(rate, rel=0.05)
    middle = result.profile.points[4]
    assert middle.elevation_m == pytest.approx(0.4 - 0.0009 * 300 / 540, abs=1e-4)
    strict = adjust(single(0.0009, instrument=Instrument(drift_u_m_per_h=0.0001)))
    assert abs(strict.drift_m_per_h[0]) < 0.05 * rate


def test_without_a_second_zero_nothing_closes_and_uncertainty_grows_with_time() -> None:
    survey = single(instrument=Instrument(drift_u_m_per_h=0.005))
    result = adjust(Survey(survey.observations[:-1], instrument=survey.instrument))
    assert result.closure.status is Status.NONE
    assert result.closure.misclosure_m is None
    assert result.redundancy == 0
    assert result.sigma0 is None
    u = [p.u_m for p in result.profile.points]
    assert u == sorted(u)
    assert u[-1] > 2 * u[0]


def test_struck_observations_are_as_if_never_made() -> None:
    survey = single(0.02)
    last = survey.observations[-1]
    struck = Survey((*survey.observations[:-1], seen(10, Kind.BENCHMARK, 1, last.height_m, name="BM", struck=True)))
    assert adjust(struck).profile.points == adjust(Survey(survey.observations[:-1])).profile.points


def test_a_station_observed_again_is_one_point() -> None:
    survey = single()
    again = seen(11, Kind.STATION, 1, 1.3006, tape_m=3.0)
    point = adjust(Survey((*survey.observations, again))).profile.points[3]
    assert point.observations == 2
    assert point.elevation_m == pytest.approx(0.3003)
    assert point.u_m < adjust(survey).profile.points[3].u_m


def test_stations_in_any_order_come_out_sorted_by_station_then_offset() -> None:
    order = [3.0, 1.0, 2.0, 0.0]
    sights = [seen(1, Kind.BENCHMARK, 1, 0.0, name="BM", elevation_m=5.0)]
    sights += [seen(2 + i, Kind.STATION, 1, 0.1 * t, tape_m=t) for i, t in enumerate(order)]
    sights += [
        seen(9, Kind.STATION, 1, 0.21, tape_m=2.0, offset_m=0.6),
        seen(10, Kind.STATION, 1, 0.19, tape_m=2.0, offset_m=-0.6),
    ]
    points = adjust(Survey(tuple(sights))).profile.points
    assert [(p.station_m, p.offset_m) for p in points] == [(0, 0), (1, 0), (2, -0.6), (2, 0), (2, 0.6), (3, 0)]


def test_surfaces_are_never_one_point() -> None:
    survey = single()
    dug = seen(11, Kind.STATION, 1, 0.8, tape_m=3.0, surface=Surface.DUG)
    both = Survey((*survey.observations, dug))
    assert adjust(both).profile.points == adjust(survey).profile.points
    (point,) = adjust(both, surface=Surface.DUG).profile.points
    assert point.elevation_m == pytest.approx(-0.2)


def test_the_stick_under_the_probe_is_taken_off() -> None:
    sights = [
        seen(1, Kind.BENCHMARK, 1, 1.0, name="BM", elevation_m=0.0),
        seen(2, Kind.STATION, 1, 2.5, tape_m=1.0, rod_m=1.2),
    ]
    assert adjust(Survey(tuple(sights))).profile.points[0].elevation_m == pytest.approx(0.3)


def test_points_nothing_ties_to_the_zero_are_named_not_guessed() -> None:
    survey = single()
    loose = [seen(11, Kind.STATION, 2, 0.4, tape_m=9.0), seen(12, Kind.TURN, 2, 0.6, name="TP7")]
    result = adjust(Survey((*survey.observations, *loose)))
    assert result.undetermined == ("station 9 m", "TP7")
    assert len(result.profile.points) == 8
    assert "station 9 m, TP7" in result.profile.notes[0]


def test_no_zero_at_all_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        adjust(Survey((seen(1, Kind.STATION, 1, 0.4, tape_m=9.0),)))
    assert caught.value.error == "needs_zero"


def test_a_gross_reading_is_the_suspect() -> None:
    survey = walk(random.Random(3))
    sights = list(survey.observations)
    bad = next(i for i, o in enumerate(sights) if o.tape_m == 3.5 and o.setup == 2)
    wrong = sights[bad]
    sights[bad] = seen(wrong.n, wrong.kind, 2, wrong.height_m + 0.02, tape_m=3.5, t_s=wrong.t_s, u_m=wrong.u_m)
    result = adjust(Survey(tuple(sights), instrument=survey.instrument))
    named = {r.n for r in result.residuals if r.suspect}
    assert named
    assert all(result.residuals[n - 1].label == "station 3.5 m" for n in named)


def test_benchmark_with_its_own_uncertainty_and_a_second_one() -> None:
    sights = [
        seen(1, Kind.BENCHMARK, 1, 0.0, name="A", elevation_m=10.0, elevation_u_m=0.001),
        seen(2, Kind.BENCHMARK, 1, 1.004, name="B", elevation_m=11.0, elevation_u_m=0.001),
        seen(3, Kind.STATION, 1, 0.5, tape_m=1.0),
    ]
    result = adjust(Survey(tuple(sights)))
    point = result.profile.points[0]
    assert point.elevation_m == pytest.approx(10.498, abs=1e-6)
    assert result.closure.misclosure_m == pytest.approx(0.004)
    assert point.u_m > 0.0005


def test_errors_common_to_a_setup_cancel_in_a_face_height() -> None:
    sights = [seen(1, Kind.BENCHMARK, 1, 0.0, name="BM", elevation_m=0.0, u_m=0.002)]
    sights += [
        seen(2, Kind.BUILT, 1, 1.00, riser=3, place="front"),
        seen(3, Kind.BUILT, 1, 0.83, riser=2, place="back"),
    ]
    result = adjust(Survey(tuple(sights)))
    front, back = (
        PointKey(Kind.BUILT, surface=Surface.BUILT, riser=r, place=p) for r, p in ((3, "front"), (2, "back"))
    )
    assert result.heights[front].elevation_m - result.heights[back].elevation_m == pytest.approx(0.17)
    assert result.heights[front].u_m > 0.002
    assert result.difference_u_m(front, back) == pytest.approx(0.0003 * math.sqrt(2), rel=1e-6)


def test_turning_point_carries_the_height_on() -> None:
    sights = [
        seen(1, Kind.BENCHMARK, 1, 0.5, name="BM", elevation_m=100.0),
        seen(2, Kind.TURN, 1, 2.0, name="TP"),
        seen(3, Kind.TURN, 2, -1.0, name="TP"),
        seen(4, Kind.STATION, 2, 0.25, tape_m=6.0),
        seen(5, Kind.BENCHMARK, 2, -2.499, name="BM", elevation_m=100.0),
    ]
    result = adjust(Survey(tuple(sights)))
    assert result.closure.misclosure_m == pytest.approx(0.001)
    assert result.closure.observations == (3, 5)
    assert result.profile.points[0].elevation_m == pytest.approx(102.75, abs=1e-3)
    assert {n.name for n in result.named} == {"BM", "TP"}


@pytest.mark.parametrize(("tape", "due"), [(Tape.LEVEL, 30.0), (Tape.TAUT, 29.5804), (Tape.GROUND, 29.5804)])
def test_tape_held_level_taut_or_on_the_ground(tape: Tape, due: float) -> None:
    # Slope 30 m with 5 m of rise: horizontal sqrt(30^2 - 5^2).
    sights = [seen(1, Kind.BENCHMARK, 1, 0.0, name="BM", elevation_m=0.0), seen(2, Kind.STATION, 1, 0.0, tape_m=0.0)]
    sights.append(seen(3, Kind.STATION, 1, 5.0, tape_m=30.0))
    point = adjust(Survey(tuple(sights), tape=tape)).profile.points[1]
    assert point.station_m == pytest.approx(due, abs=5e-5)
    expected = 0.0 if tape is Tape.LEVEL else 5.0 / due * point.u_m
    assert point.station_u_m == pytest.approx(expected, rel=1e-3)


def test_tape_on_the_ground_is_reduced_piece_by_piece() -> None:
    sights = [seen(1, Kind.BENCHMARK, 1, 0.0, name="BM", elevation_m=0.0)]
    for i, (tape, height) in enumerate(((0.0, 0.0), (1.0, 0.6), (2.0, 0.0), (3.0, 0.8))):
        sights.append(seen(2 + i, Kind.STATION, 1, height, tape_m=tape))
    points = adjust(Survey(tuple(sights), tape=Tape.GROUND)).profile.points
    assert [p.station_m for p in points] == pytest.approx([0.0, 0.8, 1.6, 2.2])


def test_a_tape_shorter_than_its_rise_is_left_out_and_told() -> None:
    sights = [seen(1, Kind.BENCHMARK, 1, 0.0, name="BM", elevation_m=0.0), seen(2, Kind.STATION, 1, 0.0, tape_m=0.0)]
    sights.append(seen(3, Kind.STATION, 1, 1.5, tape_m=1.0))
    profile = adjust(Survey(tuple(sights), tape=Tape.TAUT)).profile
    assert len(profile.points) == 1
    assert any("station 1 m is left out" in note for note in profile.notes)


@pytest.mark.parametrize(("limit_ft", "status"), [(0.02, Status.PASS), (0.0149, Status.FAIL)])
def test_published_circuit_closes_within_its_construction_limit(limit_ft: float, status: Status) -> None:
    """NAVEDTRA Engineering Aid: BM 19 computed 136.457 ft, known 136.442 ft, limit for the circuit 0.02 ft."""
    foot = 0.3048
    circuit = (
        seen(1, Kind.BENCHMARK, 1, 0.0, name="start", elevation_m=100.0 * foot),
        seen(2, Kind.BENCHMARK, 1, 36.457 * foot, name="BM 19", elevation_m=136.442 * foot),
    )
    closing = adjust(Survey(circuit), tolerance=limit_ft * foot).closure
    assert closing.misclosure_m == pytest.approx(0.015 * foot, abs=1e-9)
    assert closing.status is status


def test_uncertainties_combine_as_for_the_end_gauge_of_the_guide() -> None:
    """JCGM 100:2008, H.1, one nanometre as one millimetre, lengths less 50 mm: 838 nm, combined from parts 31.7 nm.

    The standard is the benchmark; what differing expansion and temperature do is the uncertainty of reading it.
    """
    nominal_nm = 50e6
    expansion, warmth = nominal_nm * 0.1 * 0.58e-6, nominal_nm * 11.5e-6 * 0.029
    standard = {"name": "standard", "elevation_m": 0.623, "elevation_u_m": 0.025}
    compared = (
        seen(1, Kind.BENCHMARK, 1, 0.0, u_m=math.hypot(expansion, warmth) / 1000.0, **standard),
        seen(2, Kind.POINT, 1, 0.215, name="end gauge", u_m=0.0097),
    )
    gauge = adjust(Survey(compared)).named[1]
    assert gauge.elevation_m == pytest.approx(0.838, abs=1e-9)
    assert gauge.u_m == pytest.approx(0.03171, abs=5e-6)


def test_zeros_that_close_to_the_last_bit_are_no_trouble() -> None:
    # A coarse instrument shows the very same number again; a sum of squares is then rounded to just below nothing.
    rnd, t_s, sights = random.Random(156), 0.0, list[Observation]()
    t_s = rnd.uniform(0, 100)
    for setup, zero in ((1, "BM"), (2, "TP")):
        shown_m = round(rnd.uniform(0.2, 0.6) / 0.00127) * 0.00127
        places = [zero, *range(6), *(["TP"] if setup == 1 else []), zero]
        for place in places:
            mark = {"name": place, "elevation_m": 0.0 if place == "BM" else None}
            where = mark if isinstance(place, str) else {"tape_m": setup * 10.0 + place}
            kind = Kind.STATION if where is not mark else Kind.BENCHMARK if place == "BM" else Kind.TURN
            height_m = shown_m if place == zero else 1.5 if where is mark else rnd.uniform(0, 2)
            t_s += rnd.uniform(20, 60)
            sights.append(seen(len(sights) + 1, kind, setup, height_m, t_s=t_s, u_m=0.0005, **where))
    found = adjust(Survey(tuple(sights), instrument=Instrument(0.00127, 0.0004, 0.0, 0.0005)))
    assert found.sigma0 == pytest.approx(0.0, abs=1e-9)
