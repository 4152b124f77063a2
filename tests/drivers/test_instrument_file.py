"""Instrument files: every mistake with its path, quantities in SI, the text round trip, names, schema."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.decoders.pattern import check_pattern
from drivers.errors import InstrumentFileError
from drivers.fluid import STANDARD_GRAVITY, normal_gravity, water_density
from drivers.instrument import described, dump, load, names, parse, schema
from drivers.registry import make_decoder
from drivers.units import unit_of

DOCUMENTED = r"""
[instrument]
name = "Hose level, ASCII lines"
[serial]
baud = 9600
[ask]
send = "R\r\n"
every = "0.2 s"
[decoder]
kind = "lines"
pattern = '^(?P<height>[+-]?\d+\.\d+)\s*(?P<unit>in|ft|mm|cm|m)?'
[height]
unit = "in"
up = 1
offset = "0 in"
resolution = "0.05 in"
accuracy = "0.1 in"
accuracy_is = "limit"
[settle]
window = "1.5 s"
spread = "2 mm"
[reach]
height = "4 m"
distance = "30 m"
"""


def minimal(**tables: str) -> str:
    extra = "\n".join(f"[{name}]\n{body}" for name, body in tables.items())
    return f"[instrument]\nname = 'x'\n[decoder]\nkind = 'lines'\npattern = '(?P<height>\\d+)'\n{extra}"


def mistakes(text: str) -> list[str]:
    with pytest.raises(InstrumentFileError) as caught:
        parse(text, "my.toml")
    assert "my.toml" in str(caught.value)
    return caught.value.mistakes


def test_the_documented_example() -> None:
    level = parse(DOCUMENTED, "example")
    rule = level.settle_rule
    assert (rule.window_s, rule.spread_m) == (1.5, 0.002)
    assert level.resolution_m == pytest.approx(0.05 * 0.0254)
    assert level.accuracy == (pytest.approx(0.1 * 0.0254 / math.sqrt(3)), 0.0)
    assert (level.reach_height_m, level.reach_distance_m) == (4.0, 30.0)


@pytest.mark.parametrize("name", names())
def test_every_shipped_file_loads_round_trips_and_has_a_decoder(name: str) -> None:
    instrument = load(name)
    assert parse(dump(instrument), name) == instrument
    assert dump(parse(dump(instrument), name)) == dump(instrument)
    make_decoder(instrument)


def test_all_mistakes_are_reported_with_their_path() -> None:
    found = mistakes(
        "[instrument]\nnam = 'x'\n[serial]\nbaud = 'fast'\nparity = 'sometimes'\n[decoder]\nkind = 'lines'\n"
        "pattern = '(?P<hight>1'\n[height]\nup = 2\n[setle]\nwindow = '1 s'\n"
    )
    paths = {m.split(":")[0] for m in found}
    assert {
        "instrument.name",
        "instrument.nam",
        "serial.baud",
        "serial.parity",
        "decoder",
        "height.up",
        "setle",
    } <= paths


@pytest.mark.parametrize(
    ("text", "path"),
    [
        (minimal(height="unit = 'kg'"), "height"),
        (minimal(height="resolution = '1 s'"), "height.resolution"),
        (minimal(height="accuracy = 'good'"), "height.accuracy"),
        (minimal(height="drift = '1 mm'"), "height.drift"),
        (minimal(settle="window = '2 mm'"), "settle.window"),
        (minimal(settle="spread = '-2 mm'"), "settle.spread"),
        (minimal(fluid="kind = 'density'"), "height"),
        (minimal(fluid="temperature = '90 C'"), "height"),
        (minimal(fluid="tube = '8 mm'"), "height"),
        (minimal(serial="stop = 3"), "serial.stop"),
        (minimal(site="latitude = 91"), "site.latitude"),
        ("[instrument]\nname='x'\n[decoder]\nkind='modbus'\ntype='int8'", "decoder.type"),
        ("[instrument]\nname='x'\n[decoder]\nkind='modbus'\n[decoder.status]\naddress=999", "decoder"),
        (
            "[instrument]\nname='x'\n[decoder]\nkind='frames'\nsync='AA'\nlength=4\n[decoder.height]\nat=3\ntype='int32'",
            "decoder",
        ),
        (
            "[instrument]\nname='x'\n[decoder]\nkind='frames'\nsync='AA'\nlength=4\ncheck='sum'\ncheck_from=3\n"
            "[decoder.height]\nat=1\ntype='int16'",
            "decoder: check_from",
        ),
        ("[instrument]\nname='x'\n[decoder]\nkind='modbus'\naddress=65535", "decoder: there is no register"),
        ("[instrument]\nname='x'\n[decoder]\nkind='nmea0183'\ntalker='gp'", "decoder.talker"),
        ("[instrument]\nname='x'\n[decoder]\nkind='lines'\ncolumns = {height = [8, 2]}", "decoder: height: columns"),
        ("[instrument]\nname='x'\n[decoder]\nkind='lines'", "decoder"),
        ("[instrument]\nname='x'", "decoder"),
        ("name = ", "not TOML"),
    ],
)
def test_one_mistake(text: str, path: str) -> None:
    assert any(m.startswith(path) for m in mistakes(text)), mistakes(text)


def test_a_decoder_nobody_has() -> None:
    with pytest.raises(InstrumentFileError, match="no decoder 'pigeon'"):
        make_decoder(parse("[instrument]\nname='x'\n[decoder]\nkind='pigeon'\n", "x"))


@pytest.mark.parametrize(
    ("accuracy", "kind", "expected"),
    [
        ("2 mm + 0.1 %", "sigma", (0.002, 0.001)),
        ("±2 mm", "95%", (0.002 / 1.959964, 0.0)),
        ("0.1 %", "limit", (0.0, 0.001 / math.sqrt(3))),
        ("1e-3 m", "sigma", (0.001, 0.0)),
    ],
)
def test_accuracy_as_standard_uncertainty(accuracy: str, kind: str, expected: tuple[float, float]) -> None:
    level = parse(minimal(height=f"accuracy = '{accuracy}'\naccuracy_is = '{kind}'"), "x")
    assert level.accuracy == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("drift", "expected"), [("1 mm per h", 0.001), ("0.5 mm/h", 0.0005), ("1 mm per 30 min", 0.002)]
)
def test_drift(drift: str, expected: float) -> None:
    assert parse(minimal(height=f"drift = '{drift}'"), "x").drift_m_per_h == pytest.approx(expected)


def test_a_pressure_unit_makes_a_pressure_instrument() -> None:
    probe = parse(
        minimal(
            height="unit = 'kPa'\nup = -1\nresolution = '0.01 kPa'", site="latitude = 45", fluid="temperature = '20 C'"
        ),
        "x",
    )
    metres = 1000 / (water_density(20) * normal_gravity(45))
    assert probe.scale.height(10.0) == pytest.approx(-10 * metres)
    assert probe.resolution_m == pytest.approx(0.01 * metres)
    glycol = parse(minimal(height="unit = 'Pa'", fluid="kind = 'glycol'\nfraction = 0.3\ntemperature = '20 C'"), "x")
    assert glycol.scale.height(1000.0) == pytest.approx(1000 / (1023.78 * STANDARD_GRAVITY))
    mixed = "kind = 'glycol'\nglycol = 'ethylene'\nfraction = 0.3\ntemperature = '20 C'"
    other = parse(minimal(height="unit = 'Pa'", fluid=mixed), "x")
    assert other.scale.height(1000.0) == pytest.approx(1000 / (1038.05 * STANDARD_GRAVITY))


def test_air_pressure_falls_with_height() -> None:
    air = parse(minimal(height="unit = 'hPa'", fluid="kind = 'air'\nreference = '1000 hPa'"), "x")
    assert air.scale.height(900.0) == pytest.approx(888.664, abs=0.001)
    assert air.by_air
    # Where the file states no drift the weather is one: 1 hPa an hour is 8.3 m at 15 C and sea level (ISO 2533).
    sea = parse(minimal(height="unit = 'hPa'", fluid="kind = 'air'"), "x")
    assert sea.drift_m_per_h == pytest.approx(8.3, abs=0.05)


def test_a_reservoir_at_the_other_end_stretches_the_reading() -> None:
    # Conservation of volume: the surface in a pot of 100 mm falls by (8/100)^2 of what the tube of 8 mm rises.
    legs = parse(minimal(height="unit = 'm'", fluid="tube = '8 mm'\nreservoir = '100 mm'"), "x")
    assert legs.scale.height(1.0) == pytest.approx(1.0064)


def test_sign_then_offset() -> None:
    assert parse(minimal(height="unit = 'm'\nup = -1\noffset = '1 m'"), "x").scale.height(0.25) == 0.75


@pytest.mark.parametrize(
    ("word", "metres"),
    [
        ("Zoll", 0.0254),
        ("MM", 0.001),
        ("pieds", 0.3048),
        ("мм", 0.001),
        ('"', 0.0254),
        ("yd", 0.9144),
        ("毫米", 0.001),
    ],
)
def test_units_as_instruments_write_them(word: str, metres: float) -> None:
    assert unit_of(word) == ("m", pytest.approx(metres))


@pytest.mark.parametrize("word", ["kg", "s", "", "C", "m/s", "V", "x" * 99, "m**2", "__import__"])
def test_what_is_no_unit_of_height(word: str) -> None:
    assert unit_of(word) is None


def test_names_paths_and_the_users_own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.instrument.user_folder", lambda: tmp_path)
    (tmp_path / "mine.toml").write_text(minimal())
    assert load("mine").instrument.name == "x"
    assert load(str(tmp_path / "mine.toml")).instrument.name == "x"
    assert "mine" in names()
    with pytest.raises(InstrumentFileError, match="did you mean mine"):
        load("mime")
    with pytest.raises(InstrumentFileError, match="cannot be read"):
        load(str(tmp_path / "none.toml"))


def test_schema_and_fields_cover_every_table() -> None:
    assert {"instrument", "serial", "ask", "decoder", "height", "settle", "fluid", "site", "reach"} == set(
        schema()["properties"]
    )
    assert all(meaning for _, meaning in described())


@given(st.text(max_size=60))
def test_any_text_is_a_sentence_or_an_instrument(text: str) -> None:
    try:
        parse(text, "x")
    except InstrumentFileError as error:
        told = error.mistakes
    else:
        told = ["none"]
    assert told


@given(st.text(max_size=40))
def test_any_pattern_is_taken_or_refused(text: str) -> None:
    try:
        check_pattern(text)
    except ValueError as error:
        told = str(error)
    else:
        told = "taken"
    assert told


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[instrument]", "[instrument]\nyear = " + "1" * 5000, "not TOML"),
        ("[instrument]", "x = " + "[" * 5000, "nested too deeply"),
        ('"2 mm"', '"' + "9" * 400 + ' mm"', "farther than anything on earth"),
        ('"2 mm"', '"2 mm"\nwindow = "' + "9" * 400 + ' s"', "beyond any measure"),
        ('"2 mm"', '""', "settle.spread: '' is not a number"),
        ('"2 mm"', '"2 mm"\n[height]\nresolution = ""', "height.resolution: '' is not a number"),
        ('"2 mm"', '"2 mm"\nwindow = "1 (s"', "not a unit"),
        ('"2 mm"', '"2 mm"\nwindow = "1 s/0"', "not a unit"),
        ('"2 mm"', '"2 mm"\nwindow = "1 s*9**9**9**9"', "not a unit"),
        ('"2 mm"', '"2 mm"\n[height]\nscale = 0.0', "height.scale: a scale is a number other than 0"),
        ('"2 mm"', '"2 mm"\n[height]\nscale = nan', "height.scale: a scale is a number other than 0"),
        ('"2 mm"', '"2 mm"\n[serial]\nsilence = 0', "serial.silence: it must last"),
        ('"2 mm"', '"2 mm"\n[height]\nleast = "5 ft"\nmost = "1 m"', "no height is between least 5 ft and most 1 m"),
        ('"2 mm"', '"2 mm"\n[fluid]\nkind = "air"\ntemperature = "-300 C"', "air is between -90 and 60 C"),
        ('"2 mm"', '"2 mm"\n[height]\ndrift = "1 mm per 1e-320 h"', "is no drift"),
    ],
)
def test_what_would_be_reckoned_without_end_or_beyond_a_number_is_told(old: str, new: str, told: str) -> None:
    text = (
        '[instrument]\nname = "x"\n[decoder]\nkind = "lines"\npattern = "(?P<height>.+)"\n[settle]\nspread = "2 mm"\n'
    )
    with pytest.raises(InstrumentFileError, match=told):
        parse(text.replace(old, new), "mine")


def test_a_decoder_of_a_plug_in_keeps_its_inner_table() -> None:
    text = '[instrument]\nname = "x"\n[decoder]\nkind = "theirs"\n[decoder.inner]\nkind = "lines"\n'
    assert parse(dump(parse(text, "mine")), "again") == parse(text, "mine")
