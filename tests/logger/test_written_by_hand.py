"""Files that people write, wrong in any way: instrument, brief, rule set, catalogue, profile, levelling notes.

Each is taken or refused in a sentence by an error of ours, at once. The long form is tests/bench/fuzz.py.
"""

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers.errors import DriverError
from drivers.instrument import dump, parse
from logger import catalogue
from logger.errors import RiseError, WrongFile
from logger.profile_file import read_profile
from logger.reduction.adjustment import adjust
from logger.reduction.levels import read_levels
from logger.steps import rulebook
from logger.steps.brief import read_brief

ROOT = Path(__file__).parents[2]
WORDS = ["", "0", "-1", "nan", "inf", "1e308", "1e-320", "9" * 400, "1" * 5000, "[" * 5000, '"', "'", ",", "\n", "\x00"]
WORDS += ["12 ft 6 in", "1/0", "3 %", "true", "1979-05-27", "{}", "[[]]", '"1 (m"', '"9 m*9**9**9"', "é石", "\x1b[2J"]


def instrument_file(text: str, folder: Path) -> None:
    found = parse(text, "mine")
    assert parse(dump(found), "again") == found
    assert all(map(math.isfinite, (*found.accuracy, found.drift_m_per_h, found.resolution_m)))


def brief(text: str, folder: Path) -> None:
    path = folder / "brief.toml"
    path.write_text(text, encoding="utf-8", newline="")
    found = read_brief(path)
    assert all(map(math.isfinite, (found.steps.tread_m, found.steps.landing_m, found.steps.fall, found.landing_fall)))


def rules(text: str, folder: Path) -> None:
    rulebook.parse(text, "mine", "own")


def catalogue_file(text: str, folder: Path) -> None:
    catalogue.parse_catalogue(text, Path("list.toml"))


def catalogue_table(text: str, folder: Path) -> None:
    catalogue.parse_catalogue(text, Path("list.csv"))


def profile(text: str, folder: Path) -> None:
    path = folder / "ground.csv"
    path.write_text(text, encoding="utf-8", newline="")
    assert all(math.isfinite(p.elevation_m) for p in read_profile(path).points)


def notes(text: str, folder: Path) -> None:
    found = adjust(read_levels(text, "mine").survey()).profile
    assert all(math.isfinite(p.elevation_m) for p in (*found.points, *found.named))


KINDS: dict[str, tuple[Callable[[str, Path], None], list[str]]] = {
    "instrument": (
        instrument_file,
        ["drivers/instruments/ascii-polled.toml", "drivers/instruments/ble-serial-lines.toml"],
    ),
    "brief": (brief, ["tui/demo/brief.toml"]),
    "rules": (rules, ["logger/steps/rules/garden.toml", "logger/steps/rules/irc-2024.toml"]),
    "catalogue": (catalogue_file, ["tui/demo/catalogue.toml"]),
    "catalogue as a table": (catalogue_table, ["tui/demo/ground.csv"]),
    "profile": (profile, ["tui/demo/ground.csv"]),
    "levels": (notes, ["fixtures/levels/exam_set.csv", "fixtures/levels/single_setup_feet.csv"]),
}


def refusal(read: Callable[[str, Path], None], text: str, folder: Path) -> str:
    """What a reader says where it refuses a text, empty where it takes it."""
    try:
        read(text, folder)
    except (DriverError, RiseError) as error:
        return str(error) or "nothing"
    return ""


@pytest.mark.parametrize("kind", KINDS)
@settings(deadline=2000, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_taken_or_refused_in_words(kind: str, data: st.DataObject, tmp_path: Path) -> None:
    read, names = KINDS[kind]
    text = (ROOT / data.draw(st.sampled_from(names))).read_text(encoding="utf-8")
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text)))
        ends = [e for sign in ',="\n ' if (e := text.find(sign, at)) >= 0]
        word = data.draw(st.sampled_from(WORDS) | st.text(st.characters(exclude_categories=["Cs"]), max_size=8))
        text = text[:at] + word + text[data.draw(st.sampled_from([at, *ends])) :]
    assert len(refusal(read, text, tmp_path).split()) != 1


@pytest.mark.parametrize("read", [brief, catalogue_file, instrument_file, rules])
@pytest.mark.parametrize("value", ["1" * 5000, "[" * 5000])
def test_a_number_or_a_nest_without_end(read: Callable[[str, Path], None], value: str, tmp_path: Path) -> None:
    with pytest.raises((DriverError, WrongFile), match="not TOML"):
        read(f"a = {value}", tmp_path)


@pytest.mark.parametrize("number", ["1e308", "-1e200", "9" * 200])
def test_a_height_beyond_any_map_is_no_number(number: str, tmp_path: Path) -> None:
    with pytest.raises(WrongFile, match=r"line 3: elevation_m .* is not a number"):
        profile(f"station_m,elevation_m\n0,1\n1,{number}\n", tmp_path)
    with pytest.raises(WrongFile, match=r"line 2: bs .* is not a number"):
        notes(f"point,bs,is,fs,known\nA,{number},,,0\nB,,,1,\n", tmp_path)
