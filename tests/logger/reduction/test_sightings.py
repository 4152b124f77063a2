"""What a height is worth before the adjustment, against the adjustment of the same two readings."""

import pytest

from logger.observation import Instrument, Kind, Observation, Survey
from logger.reduction.adjustment import adjust
from logger.reduction.sightings import Sighting, sum_u
from logger.session.events import Draft, EventKind
from logger.session.fieldbook import FieldBook
from logger.session.observed import Tag, observed_body
from logger.session.unadjusted import entry_u
from logger.settle import Settled

U_M = 0.0004
HOSE = Instrument(resolution_m=0.0001, accuracy_u_m=0.001, scale_u=0.0005, drift_u_m_per_h=0.0005)


@pytest.mark.parametrize("instrument", [Instrument(), HOSE])
@pytest.mark.parametrize("warmed_k", [None, 0.0, 8.0])
@pytest.mark.parametrize("rise_m", [0.0, -1.0, 3.0])
@pytest.mark.parametrize("hours", [0.0, 0.2, 3.0])
def test_one_height_above_the_zero_is_worth_what_the_adjustment_says(
    hours: float, rise_m: float, warmed_k: float | None, instrument: Instrument
) -> None:
    cold, warm = (None, None) if warmed_k is None else (12.0, 12.0 + warmed_k)
    seen = (
        Observation(1, Kind.BENCHMARK, 1, 0.0, 1.0, U_M, name="BM", elevation_m=0.0, temperature_c=cold),
        Observation(2, Kind.STATION, 1, hours * 3600, 1.0 + rise_m, U_M, tape_m=3.0, temperature_c=warm),
    )
    (point,) = adjust(Survey(seen, instrument=instrument)).profile.points
    pair = [Sighting(1, 1.0 + rise_m, U_M, hours * 3600, 1, warm), Sighting(-1, 1.0, U_M, 0.0, 1, cold)]
    assert sum_u(pair, instrument) == pytest.approx(point.u_m, rel=1e-6)


@pytest.mark.parametrize("stated", [1e-12, 1e-9])
def test_what_an_instrument_states_as_next_to_nothing_is_nothing(stated: float) -> None:
    zero = Observation(1, Kind.BENCHMARK, 1, 0.0, 1.0, U_M, name="BM", elevation_m=0.0)
    marks = [Observation(n, Kind.POINT, 1, n * 60.0, 1.0 + n % 3, U_M, name=f"M{n % 3}") for n in range(2, 40)]
    seen = (zero, *marks)
    drawn = Instrument(accuracy_u_m=stated, scale_u=stated, drift_u_m_per_h=stated)
    assert adjust(Survey(seen, instrument=drawn)).heights == adjust(Survey(seen)).heights


def test_a_zero_carried_over_a_thousand_turning_points_is_worth_the_readings_of_all() -> None:
    book = FieldBook()

    def observe(kind: Kind, name: str) -> None:
        settled = Settled(1.0, U_M, 0.0, 9, 9.0, 0, True, 0.0, 0.0)
        book.apply(Draft(0, 0, EventKind.OBSERVED, observed_body(book, Tag(kind, name), settled, 0)))

    observe(Kind.BENCHMARK, "BM")
    for n in range(1000):
        observe(Kind.TURN, f"TP{n}")
        book.apply(Draft(0, 0, EventKind.SETUP, {"setup": book.setup + 1}))
        observe(Kind.TURN, f"TP{n}")
    observe(Kind.POINT, "head")
    assert entry_u(book, Instrument(), book.entries[-1]) == pytest.approx(U_M * (2 * 1001) ** 0.5)
