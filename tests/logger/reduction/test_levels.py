"""Worked levelling notes with published results: what a person's paper notes become."""

from pathlib import Path

import pytest

from logger.errors import WrongFile
from logger.reduction.adjustment import adjust
from logger.reduction.closure import Status, Tolerance
from logger.reduction.levels import Levels, read_levels

FOLDER = Path(__file__).parents[3] / "fixtures" / "levels"
FOOT = 0.3048


def read(name: str) -> Levels:
    return read_levels((FOLDER / name).read_text(), name)


def heights(levels: Levels) -> dict[str, float]:
    adjusted = adjust(levels.survey()).heights.values()
    return {h.key.label: h.elevation_m for h in adjusted}


def test_rise_and_fall_over_three_turns() -> None:
    # IASRI/ICAR e-course, Unit 1 Surveying, problem 3: sums 5.964, 6.916, 2.842, 3.794 and the last level are printed.
    levels = read("rise_and_fall_three_turns.csv")
    check = levels.check
    sums = (check.backsights_m, check.foresights_m, check.rises_m, check.falls_m, check.difference_m)
    assert sums == pytest.approx((5.964, 6.916, 2.842, 3.794, -0.952), abs=1e-9)
    found = heights(levels)
    for point, level in zip("123456", (433.006, 433.624, 432.850, 434.452, 433.072, 431.432), strict=True):
        assert found[point] == pytest.approx(level, abs=1e-9)


def test_move_told_from_a_continuous_slope() -> None:
    # The same course, problem 4: the instrument was moved after the sixth reading; last level 199.965.
    levels = read("continuous_slope.csv")
    assert len(levels.notes) == 1
    assert "line 8" in levels.notes[0]
    found = [h.elevation_m for h in adjust(levels.survey()).heights.values()]
    due = (208.125, 207.480, 206.585, 205.685, 204.780, 203.825, 202.445, 201.340, 199.965)
    assert found == pytest.approx(due, abs=1e-9)
    assert levels.check.backsights_m == pytest.approx(1.010)
    assert levels.check.foresights_m == pytest.approx(9.170)
    points = adjust(levels.survey()).profile.points
    assert [p.station_m for p in points] == [20, 40, 60, 80, 100, 120, 140, 160]


def test_closed_loop_distributes_its_misclosure_by_setups() -> None:
    # Ghilani and Wolf, problem 5.12: misclosure +0.010 m, a fifth of it taken off at each of five setups.
    levels = read("closed_loop.csv")
    result = adjust(levels.survey(), tolerance=Tolerance(per_root_km_m=0.012, length_m=1500.0))
    assert result.closure.misclosure_m == pytest.approx(0.010, abs=1e-9)
    assert result.closure.tolerance_m == pytest.approx(0.0147, abs=5e-5)
    assert result.closure.status is Status.PASS
    strict = adjust(levels.survey(), tolerance=Tolerance(per_root_km_m=0.008, length_m=1500.0))
    assert strict.closure.tolerance_m == pytest.approx(0.0098, abs=5e-5)
    assert strict.closure.status is Status.FAIL
    found = {n.name: n.elevation_m for n in result.named}
    due = {"BM7": 852.045, "TP1": 851.893, "BM8": 849.998, "TP2": 848.698, "TP3": 847.181}
    assert found == pytest.approx(due, abs=1e-9)


def test_single_setup_in_feet() -> None:
    # Lecture notes: BM 820.00, backsight 8.42, height of instrument 828.42, foresight 1.20 -> 827.22 ft.
    assert heights(read("single_setup_feet.csv"))["P"] / FOOT == pytest.approx(827.22, abs=1e-9)


def test_small_set_and_exam_set() -> None:
    # Booking page: +0.55 -0.85 +0.70 -1.00 -0.55 = -1.15 over all.
    assert read("small_set.csv").elevations_m == pytest.approx((100, 100.55, 99.70, 100.40, 99.40, 98.85), abs=1e-9)
    assert heights(read("small_set.csv"))["B"] == pytest.approx(98.85, abs=1e-9)
    due = (100.00, 100.12, 99.88, 99.73, 99.09, 100.09, 99.77, 100.03)
    assert tuple(heights(read("exam_set.csv")).values()) == pytest.approx(due, abs=1e-9)


def test_a_printed_slip_of_a_millimetre_is_caught() -> None:
    # A published table: rise printed 0.829 for 0.828, levels 1 mm high from there on, foresights summed to 8.124.
    with pytest.raises(WrongFile) as caught:
        read("flawed_table.csv")
    told = "\n".join(caught.value.mistakes)
    assert "line 5: rise says 0.829 m, the readings give 0.828 m" in told
    assert "line 8: elevation says 48.710 m, the readings give 48.709 m" in told
    assert "line 9: fs says 8.124 m, the readings give 8.125 m" in told
    assert len(caught.value.mistakes) == 6


def test_the_same_notes_without_what_was_printed_close_ten_millimetres_off() -> None:
    text = (FOLDER / "flawed_table.csv").read_text().splitlines()
    bare = "\n".join(",".join(line.split(",")[i] for i in (0, 1, 2, 3, 7)) for line in text[:-1])
    result = adjust(read_levels(bare, "bare").survey())
    assert result.closure.misclosure_m == pytest.approx(-0.010, abs=1e-9)
    assert result.closure.status is Status.FAIL


def test_grid_from_one_height_of_instrument() -> None:
    # BM 40.000, backsight 1.260, height of instrument 41.260.
    due = (40.000, 40.140, 40.025, 39.870, 40.050, 40.090, 39.770)
    assert tuple(heights(read("grid_elevations.csv")).values()) == pytest.approx(due, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "it is empty"),
        ("point,bs\nA,1\n", "columns bs and fs are needed"),
        ("point,bs,fs,bs\n", "column bs stands there twice"),
        ("point,bs_yd,fs,known\nA,1,,0\nB,,2,\n", "write the unit as one of"),
        ("point,bs,fs,known\nA,1,,0\nB,,x,\n", "line 3: fs 'x' is not a number"),
        ("point,bs,fs,known\nA,1,,0\nB,,nan,\n", "line 3: fs 'nan' is not a number"),
        ("point,bs,fs,known\nA,1,,0\nB,,2e6,\n", "line 3: fs '2e6' is farther than any walk"),
        ("point,reading,setup,known\nA,1,1,0\nB,2,2,\nC,3,3,\nD,4,3,\n", "line 3: the only reading of its setup"),
        ("point,bs,fs,known\nA,1,,0\nB,1,1,\nA,,1,0.2\n", "line 4: A is known at 0.200 m, on line 2 at 0.000 m"),
        ("point,bs,fs,known\nA,1,,\nB,,1,\n", "elevation of the first point is needed"),
        ("point,bs,is,fs,known\nA,1,,,0\nB,,1,1,\n", "an intermediate sight stands alone"),
        ("point,bs,fs,known\nA,,1,0\n", "the first reading is a backsight"),
        ("point,bs,fs,known\nA,1,,0\nB,,2,\nC,1,,\nD,,1,\n", "a setup begins on C, which has no height yet"),
        ("point,reading,known\nA,1,0\nB,2,\nC,1.5,\nD,1.2,\n", "the slope is not steady"),
        ("point,bs,fs,known\n", "there are no readings"),
        ("point,bs,fs,known\nA,1,,0,9\n", "5 values under 4 columns"),
    ],
)
def test_wrong_notes_are_told_in_words(text: str, told: str) -> None:
    with pytest.raises(WrongFile, match=told):
        read_levels(text, "notes.csv")


def test_all_mistakes_are_told_at_once() -> None:
    with pytest.raises(WrongFile) as caught:
        read_levels("point,bs,fs,known\nA,one,,0\nB,,two,\nC,,inf,\n", "notes.csv")
    assert len(caught.value.mistakes) == 3


def test_setup_column_says_where_the_instrument_moved() -> None:
    text = "point,reading,setup,known\nA,1.0,1,10\nB,0.5,1,\n,1.2,2,\nC,1.7,2,\nD,1.5,2,\n"
    assert read_levels(text, "n").elevations_m == pytest.approx((10, 10.5, 10.0, 10.2))
