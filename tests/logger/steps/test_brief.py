"""Briefs as people write them: every mistake at once with its place, blanks, options laid over, units."""

from pathlib import Path

import pytest

from drivers.lengths import Units
from logger.errors import FileError, WrongFile
from logger.steps.brief import brief_of, read_brief

CONTRACTED = """
[steps]
start = "0 ft"
run = "21 ft"
rise = "6 ft 8 in"
bottom = "0 in"
foot = ""
head = ""
top = "tread"
width = "4 ft"
riser = "7 in"
equal = "face"
tread = "16 in"
tread_max = ""
landing = "36 in"
landing_step = "0"
flight_risers = 0
fall = "1 %"
landing_fall = "1 %"
last_tread = ""
start_slack = "0 ft"
flight_min = 1
grid = "1/2 in"
above_weight = 1.0
below_weight = 2.0
[unit]
height = "6 in"
height_tolerance = "1/8 in"
depth = "18 in"
overhang = "1 in"
overlap = "1 in"
joint = "1/4 in"
[layers]
unit = "6 in"
bedding = "1 in"
base = "6 in"
[rules]
sets = ["irc-2024"]
"""


def test_every_field_is_read(tmp_path: Path) -> None:
    path = tmp_path / "brief.toml"
    path.write_text(CONTRACTED)
    brief = read_brief(path, {})
    s = brief.steps
    assert (s.run_m, s.rise_m, s.tread_m) == pytest.approx((6.4008, 2.032, 0.4064))
    assert (s.tread_max_m, s.last_tread_m, s.foot, s.flight_risers) == (None, None, "", 0)
    assert s.fall == pytest.approx(0.01)
    assert brief.layers.base_m == pytest.approx(0.1524)
    assert brief.shown_in is Units.FEET_INCHES
    assert brief.rule_sets[0].name == "irc-2024"


def test_defaults() -> None:
    s = brief_of({}, {"tread": "0.4 m", "landing": "1 m"}).steps
    assert (s.bottom_m, s.start_m, s.run_m, s.flight_min, s.start_slack_m) == (0, None, None, 1, 0)
    assert (s.fall, s.grid_m, s.above_weight, s.below_weight) == (0.01, pytest.approx(0.0127), 1, 2)


@pytest.mark.parametrize("written", ["1 %", "1:100", "1 in 100", 0.01, "0.01"])
def test_falls(written: object) -> None:
    assert brief_of({}, {"tread": 0.4, "landing": 1, "fall": written}).steps.fall == pytest.approx(0.01)


def test_an_eighth_in_a_foot() -> None:
    brief = brief_of({}, {"tread": 0.4, "landing": 1, "fall": "1/8 in per ft"})
    assert brief.steps.fall == pytest.approx(0.125 / 12)


def test_three_mistakes_are_all_told_with_their_places(tmp_path: Path) -> None:
    path = tmp_path / "brief.toml"
    path.write_text('[steps]\ntread = "17/16\\""\nlanding = "36 in"\ntop = "lawn"\n[rules]\nsets = ["irc-2042"]\n')
    with pytest.raises(WrongFile) as caught:
        read_brief(path)
    places = [mistake.partition(":")[0] for mistake in caught.value.mistakes]
    assert sorted(places) == ["rules.sets", "steps.top", "steps.tread"]
    assert "irc-2024" in str(caught.value)


@pytest.mark.parametrize(
    ("fields", "place"),
    [
        ({"landing": "0.3 m"}, "steps.landing"),
        ({"tread_max": "0.2 m"}, "steps.tread_max"),
        ({"grid": "0.5 m"}, "steps.grid"),
        ({"riser_min": "0.2 m", "riser_max": "0.1 m"}, "steps.riser_min"),
        ({"rise": "-1 m"}, "steps.rise"),
        ({"rise": "1 m", "head": "patio"}, "steps.head"),
        ({"bottom": "5 cm", "foot": "walk"}, "steps.foot"),
        ({"last_tread": "0.5 m", "top": "grade"}, "steps.last_tread"),
        ({"flight_risers": 2, "flight_min": 3}, "steps.flight_min"),
        ({"above_weight": 0, "below_weight": 0}, "steps.above_weight"),
        ({"fall": "-1 %"}, "steps.fall"),
        ({"fall": "1"}, "steps.fall"),
        ({"tread": "nan"}, "steps.tread"),
        ({"above_weight": float("inf")}, "steps.above_weight"),
        ({"unit.depth": "0.5 m"}, "steps.tread"),
        ({"unit.kind": "whole"}, "unit.height"),
        ({"tred": "1 m"}, "steps.tred"),
        ({"landing_at": [{"station": "x"}]}, "landing_at.0.station"),
        ({"no_landing": [{"from": "2 m", "to": "1 m"}]}, "no_landing.0.to"),
    ],
)
def test_mistakes(fields: dict[str, object], place: str) -> None:
    with pytest.raises(WrongFile) as caught:
        brief_of({}, {"tread": "0.4 m", "landing": "1 m"} | fields)
    assert [m for m in caught.value.mistakes if m.startswith(f"{place}:")], caught.value.mistakes


def test_the_tread_may_follow_from_the_unit() -> None:
    brief = brief_of(
        {}, {"landing": "1 m", "unit.depth": "20 cm", "unit.deep": 2, "unit.joint": "1 cm", "unit.overlap": "2 cm"}
    )
    assert brief.steps.tread_m == pytest.approx(0.39)


@pytest.mark.parametrize(
    ("tread", "units"),
    [("16in", Units.FEET_INCHES), ("1 ft 4 in.", Units.FEET_INCHES), ('16"', Units.FEET_INCHES),
     ("400mm", Units.MILLIMETRES), ("40 cm", Units.METRES), ("0.4", Units.METRES)],
)  # fmt: skip
def test_lengths_are_shown_as_the_tread_was_written(tread: str, units: Units) -> None:
    assert brief_of({}, {"tread": tread, "landing": "1.2 m"}).shown_in is units


def test_every_rule_set_there_is_not_is_told() -> None:
    with pytest.raises(WrongFile, match=r"no rule set 'lawn'.*no rule set 'pond'"):
        brief_of({"rules": {"sets": ["lawn", "pond"]}}, {"tread": "0.4 m", "landing": "1.2 m"})


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(FileError):
        read_brief(tmp_path / "missing.toml")
    (tmp_path / "cut.toml").write_text("[steps\ntread = 1")
    with pytest.raises(WrongFile, match="not TOML"):
        read_brief(tmp_path / "cut.toml")
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(WrongFile, match="UTF-8"):
        read_brief(tmp_path / "odd.toml")
