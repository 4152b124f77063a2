"""Lengths as people write them: exact definitions (1 in = 25.4 mm, 1 ft = 0.3048 m), refusals, round trips."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import LengthError
from drivers.lengths import Units, length_m, show_length, show_station
from drivers.quantities import quantity, slope


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("6'-3 3/4\"", 75.75), ("75 3/4 in", 75.75), ("75-3/4\"", 75.75), ("12 ft 6 in", 150), ("12'6\"", 150), ("12.5 ft", 150),
        ("3/4 in", 0.75), ("5½ in", 5.5), ("-6'-3\"", -75), ("6′ 3″", 75), ("6' - 3 1/2\"", 75.5), ("6'3.5\"", 75.5), ("-0'-6\"", -6),
    ],
)  # fmt: skip
def test_feet_and_inches_are_exact(text: str, inches: float) -> None:
    assert length_m(text) == pytest.approx(inches * 0.0254, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("12.5", 12.5), ("3,5 m", 3.5), ("125 cm", 1.25), ("3 mm", 0.003), ("1+25", 125), ("1+25.50 ft", 125.5 * 0.3048),
        ("0,125", 0.125), ("2 yd", 1.8288), ("1e-3", 0.001), ("+2", 2), (".5 m", 0.5), ("−2 m", -2), ("-1+25", -125),
    ],
)  # fmt: skip
def test_other_units_and_stations(text: str, metres: float) -> None:
    assert length_m(text) == pytest.approx(metres, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "", "  ", "nan", "inf", "17/16\"", "6'-14\"", "6'3", "6'-3 3/4", "3 3/4", "1/0 in", "1/3 in", "12.5 ft 3 in", "1+5", "--3",
        "3 kg", "3 m 2", "5 in 3 ft", "1,250", "1,250.5", "3 m^2", "1 000 mm", "6 ft -3 in", "1e999", "1e-999999999", "9" * 70, "3 3.5/4 in", "[/x]", "3 in in",
    ],
)  # fmt: skip
def test_what_could_be_read_two_ways_is_refused(text: str) -> None:
    with pytest.raises(LengthError):
        length_m(text)


@pytest.mark.parametrize("text", ["6'-3 3/4", "6'" + "1" * 50, "6 ft " + "1" * 50, "6' " + "1 " * 20])
def test_a_missing_mark_is_named(text: str) -> None:
    with pytest.raises(LengthError, match="a mark is missing"):
        length_m(text)


@pytest.mark.parametrize("text", ["1'" + "1" * 50 + "x", "1 ft " + "1" * 50 + "/x"])
def test_a_slip_in_many_digits_is_told_at_once(text: str) -> None:
    with pytest.raises(LengthError, match="write"):
        length_m(text)
    with pytest.raises(LengthError, match="beyond any slope"):
        slope(" " * 3000 + text)


def test_refusals_say_what_to_write() -> None:
    with pytest.raises(LengthError, match=r"1\.250 or 1250"):
        length_m("1,250")


@given(st.integers(-200_000, 200_000), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_shown_feet_and_inches_are_read_back(parts: int, smallest: int) -> None:
    value = parts * 0.0254 / smallest
    assert length_m(show_length(value, Units.FEET_INCHES, sixteenths=smallest)) == pytest.approx(value, abs=1e-9)


@given(st.floats(-1e5, 1e5), st.sampled_from(list(Units)))
def test_what_is_shown_is_read_back_within_its_last_place(value: float, units: Units) -> None:
    last_place = {
        Units.FEET_INCHES: 0.0254 / 16,
        Units.FEET: 0.003048,
        Units.METRES: 0.001,
        Units.MILLIMETRES: 0.001,
    }
    assert length_m(show_length(value, units)) == pytest.approx(value, abs=last_place[units] / 2 * 1.001)


@given(st.text(max_size=30))
def test_any_text_is_a_length_or_a_refusal(text: str) -> None:
    with contextlib.suppress(LengthError):
        assert math.isfinite(length_m(text))


def test_rounding_is_done_once_and_carries() -> None:
    assert show_length(12 * 0.0254 - 1e-6, Units.FEET_INCHES) == "1'-0\""
    assert show_length(-0.0001, Units.FEET_INCHES) == "0'-0\""
    assert show_length(-0.0001, Units.METRES) == "0.000 m"
    assert show_station(99.9996, Units.METRES) == "1+00.000"
    with pytest.raises(LengthError):
        show_length(math.nan)


def test_bare_numbers_follow_the_units_of_the_session() -> None:
    assert length_m("12", Units.FEET_INCHES) == pytest.approx(12 * 0.3048)
    assert length_m("1+25", Units.FEET) == pytest.approx(125 * 0.3048)
    assert length_m("12", Units.MILLIMETRES) == 0.012


@pytest.mark.parametrize(
    ("text", "ratio"), [("1 %", 0.01), ("1/8 in per ft", 1 / 96), ("1:48", 1 / 48), ("1 in 48", 1 / 48), ("0.01", 0.01), ("1/4 in/ft", 1 / 48)]
)  # fmt: skip
def test_slopes(text: str, ratio: float) -> None:
    assert slope(text) == pytest.approx(ratio, rel=1e-12)


def test_other_quantities_by_name() -> None:
    assert quantity("0.2 s", "s") == 0.2
    assert quantity("1 psi", "Pa") == pytest.approx(6894.757, abs=1e-3)
    with pytest.raises(ValueError, match="not a unit"):
        quantity("3 s", "m")
