"""Large numerals: at least four rows, every figure different, feet-inch-sixteenths on forty columns."""

import itertools

import pytest

from drivers.lengths import Units
from tui.walking.distances import distance, give_or_take, height
from tui.widgets.glyphs import drawn


@pytest.mark.parametrize("text", ["+16'-11 15/16\"", "-0'-0 1/16\"", "+99.999 m", "-16.94 ft", "+12345 mm"])
@pytest.mark.parametrize(("columns", "rows"), [(38, 6), (44, 7), (78, 10), (118, 14)])
def test_every_height_fits_and_is_at_least_four_rows_high(text: str, columns: int, rows: int) -> None:
    lines = drawn(text, columns, rows)
    assert 4 <= len(lines) <= rows
    assert len({len(line) for line in lines}) == 1
    assert len(lines[0]) <= columns


@pytest.mark.parametrize("rows", range(4, 15))
def test_no_two_figures_look_alike(rows: int) -> None:
    looks = ["\n".join(drawn(figure, 60, rows)) for figure in "0123456789"]
    for one, other in itertools.combinations(looks, 2):
        assert one != other


def test_the_parts_of_an_inch_do_not_look_alike() -> None:
    looks = {"\n".join(drawn(f"+1'-2 {n}/16\"", 40, 6)) for n in range(1, 16, 2)}
    assert len(looks) == 8


def test_figures_keep_their_places_as_they_change() -> None:
    widths = {len(drawn(f"+1.{n:03d} m", 60, 8)[0]) for n in range(0, 1000, 37)}
    assert len(widths) == 1


def test_nothing_is_drawn_where_four_rows_do_not_fit() -> None:
    assert drawn("+1.234 m", 12, 20) == []
    assert drawn("+1.234 m", 60, 3) == []


@pytest.mark.parametrize(
    ("value_m", "units", "words"),
    [
        (3.6576, Units.FEET_INCHES, "12 ft"),
        (3.81, Units.FEET_INCHES, "12 ft 6 in"),
        (0.1651, Units.FEET_INCHES, "6 1/2 in"),
        (3.6576, Units.FEET, "12 ft"),
        (3.5, Units.METRES, "3.5 m"),
        (0.0, Units.METRES, "0 m"),
        (3.5, Units.MILLIMETRES, "3500 mm"),
    ],
)
def test_distances_are_written_short(value_m: float, units: Units, words: str) -> None:
    assert distance(value_m, units) == words


def test_heights_have_a_sign_and_nothing_has_none() -> None:
    assert height(0.5, Units.METRES) == "+0.500 m"
    assert height(-0.5, Units.METRES) == "-0.500 m"
    assert height(-1e-9, Units.METRES) == "0.000 m"


def test_give_or_take_is_never_rounded_down_to_nothing() -> None:
    assert give_or_take(0.0001, Units.FEET_INCHES) == '±1/16"'
    assert give_or_take(0.0008, Units.FEET_INCHES) == '±1/8"'
    assert give_or_take(0.0004, Units.METRES) == "±0.8 mm"
    assert give_or_take(None, Units.METRES) == "± not known"
