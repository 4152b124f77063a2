"""How a walk of several setups closes, and the marks that must outlast the dig."""

import pytest

from logger.observation import Instrument, Kind, Observation, Survey
from logger.reduction.adjustment import Adjustment, adjust
from logger.reduction.closure import Status, Tolerance


def walked(*places: tuple[int, str, float], tolerance: Tolerance | None = None) -> Adjustment:
    """A walk by setup, name (a station where it is a number) and height shown; BM is the zero."""
    seen = []
    for n, (setup, name, height) in enumerate(places, 1):
        station = name.replace(".", "").isdigit()
        kind = (
            Kind.STATION if station else Kind.BENCHMARK if name == "BM" else Kind.POINT if name == "sill" else Kind.TURN
        )
        where = {"tape_m": float(name)} if station else {"name": name, "elevation_m": 0.0 if name == "BM" else None}
        seen.append(Observation(n=n, kind=kind, setup=setup, t_s=n * 60.0, height_m=height, u_m=0.0003, **where))  # type: ignore[arg-type]
    return adjust(Survey(tuple(seen)), tolerance=tolerance)


def test_the_last_zero_speaks_for_the_walk() -> None:
    result = walked(
        (1, "BM", 1.0), (1, "1", 1.4), (1, "TP", 2.0), (1, "BM", 1.002),
        (2, "TP", 0.5), (2, "2", 0.9), (2, "BM", -0.499),
    )  # fmt: skip
    assert result.closure.misclosure_m == pytest.approx(0.001)
    assert result.closure.observations == (5, 7)
    assert [c.misclosure_m for c in result.closures] == pytest.approx([0.002, 0.001])


def test_an_earlier_zero_that_fails_is_not_hidden_by_a_good_last_one() -> None:
    result = walked(
        (1, "BM", 1.0), (1, "1", 1.4), (1, "TP", 2.0), (1, "BM", 1.009),
        (2, "TP", 0.5), (2, "2", 0.9), (2, "BM", -0.499),
    )  # fmt: skip
    assert result.closure.status is Status.FAIL
    assert result.closure.misclosure_m == pytest.approx(0.009)
    assert [c.status for c in result.closures] == [Status.FAIL, Status.PASS]


def test_a_setup_begun_on_a_turning_point_closes_on_it() -> None:
    result = walked((1, "BM", 1.0), (1, "TP", 2.0), (2, "TP", 0.5), (2, "2", 0.9), (2, "TP", 0.5042))
    assert result.closure.misclosure_m == pytest.approx(0.0042)
    assert result.closure.status is Status.FAIL


@pytest.mark.parametrize(
    ("order", "limit_mm"),
    # FGCC 1984 over 1.5 km of loop, from memory but for the last: 12 mm, 8 mm and 24 mm times root kilometres.
    [("third", 14.697), ("second-2", 9.798), ("first-1", 4.899), ("construction", 29.394)],
)
def test_limits_of_the_classes(order: str, limit_mm: float) -> None:
    from logger.reduction.closure import CLASSES_MM

    limit = Tolerance(per_root_km_m=CLASSES_MM[order] / 1000, length_m=1500.0)
    closed = walked((1, "BM", 1.0), (1, "1", 1.4), (1, "BM", 1.001), tolerance=limit).closure
    assert closed.tolerance_m * 1000 == pytest.approx(limit_mm, abs=1e-3)


def test_one_mark_alone_asks_for_a_second_outside_the_dig_though_turning_points_were_set() -> None:
    told = walked((1, "BM", 1.0), (1, "1", 1.4), (1, "TP", 2.0), (2, "TP", 0.1), (2, "2", 0.9)).profile.notes
    assert any("BM alone holds the zero" in note for note in told)
    two = walked((1, "BM", 1.0), (1, "sill", 3.0), (1, "1", 1.4), (1, "2", 1.9)).profile.notes
    assert not any("holds the zero" in note for note in two)


def test_a_zero_that_lies_inside_the_run_asks_for_a_mark_that_stays() -> None:
    told = walked((1, "0", 0.2), (1, "BM", 1.0), (1, "1", 1.001), (1, "sill", 3.0), (1, "2", 1.9)).profile.notes
    assert any("BM is as high as station 1 m beside it" in note for note in told)
    assert any("sill alone holds the zero outside the dig: observe a second mark" in note for note in told)


def test_heights_by_air_say_that_they_are_none_for_steps() -> None:
    seen = [Observation(1, Kind.BENCHMARK, 1, 0.0, 0.0, 0.05, "BM", elevation_m=0.0)]
    seen += [Observation(2 + i, Kind.STATION, 1, 60.0 * i, 0.4 * i, 0.05, tape_m=float(i)) for i in range(3)]
    air = Instrument(0.08, 0.5, drift_u_m_per_h=8.3, by_air=True)
    profile = adjust(Survey(tuple(seen), instrument=air)).profile
    assert any("no steps can be set out" in note for note in profile.notes)
    assert min(p.u_m for p in profile.points) > 0.05
