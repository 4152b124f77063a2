"""Octets of characteristics and descriptors against published numbers.

Sources: Bluetooth SIG, Assigned Numbers (format types, units) and GATT Specification Supplement (Elevation, Pressure,
Temperature, Battery Level), computed by hand from their definitions; the ES Measurement octets are the constants of
the Zephyr project's Environmental Sensing sample.
"""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import gatt_values as gv

FIXED = [
    (gv.ELEVATION, "7B0000", 1.23),
    (gv.ELEVATION, "85FFFF", -1.23),
    (gv.ELEVATION, "FA0000", 2.50),
    (gv.ELEVATION, "FFFFFF", -0.01),
    (gv.ELEVATION, "102700", 100.0),
    (gv.ELEVATION, "FFFF7F", 83886.07),
    (gv.ELEVATION, "010080", -83886.07),
    (gv.PRESSURE, "02760F00", 101325.0),
    (gv.TEMPERATURE, "5908", 21.37),
    (gv.TEMPERATURE, "DAFD", -5.50),
]


@pytest.mark.parametrize(("uuid", "octets", "value"), FIXED)
def test_fixed_characteristics(uuid: str, octets: str, value: float) -> None:
    assert gv.FIXED_FORMATS[uuid].number(bytes.fromhex(octets)) == value


def test_the_fixed_formats_are_metres_pascals_and_degrees() -> None:
    assert [(f.unit, f.step) for f in gv.FIXED_FORMATS.values()] == [("m", 0.01), ("Pa", 0.1), ("degC", 0.01)]


def test_temperature_not_known_and_prohibited() -> None:
    assert gv.temperature_c(bytes.fromhex("0080")) is None
    assert gv.temperature_c(bytes.fromhex("5195")) == -273.11
    with pytest.raises(gv.NotThisLayout):
        gv.temperature_c(bytes.fromhex("0180"))
    with pytest.raises(gv.NotThisLayout):
        gv.temperature_c(b"\x01")


def test_battery_level() -> None:
    assert gv.battery_percent(b"\x64") == 100.0
    assert gv.battery_percent(b"\x00") == 0.0
    for reserved in (b"\x65", b"\xff", b"", b"\x01\x02"):
        with pytest.raises(gv.NotThisLayout):
            gv.battery_percent(reserved)


def test_presentation_format_with_a_finer_exponent() -> None:
    """The published example: exponent -3 makes 3892 into 3.892."""
    metres = gv.PresentationFormat.parse(bytes.fromhex("10FD0127010000"))
    assert (metres.unit, metres.step) == ("m", 0.001)
    assert metres.number((3892).to_bytes(4, "little")) == 3.892
    tenth_mm = gv.PresentationFormat.parse(bytes.fromhex("10FC0127010000"))
    assert tenth_mm.number((-12345).to_bytes(4, "little", signed=True)) == -1.2345


@pytest.mark.parametrize(
    ("code", "octets", "value"),
    [
        ("04", "FF", 255),
        ("0C", "FF", -1),
        ("06", "FFFF", 65535),
        ("0E", "FFFF", -1),
        ("07", "010203", 0x030201),
        ("0F", "FFFFFF", -1),
        ("08", "FFFFFFFF", 4294967295),
        ("10", "FFFFFFFF", -1),
        ("11", "FEFFFFFFFFFF", -2),
        ("12", "FEFFFFFFFFFFFFFF", -2),
        ("14", "0000C03F", 1.5),
        ("15", "000000000000F83F", 1.5),
        ("19", "2D312E3235", -1.25),
        ("16", "72F3", 88.2),
        ("17", "720300FF", 88.2),
    ],
)
def test_every_format_that_holds_a_number(code: str, octets: str, value: float) -> None:
    """float32 and float64 after IEEE 754; 0x0372 with exponent -1 is 88.2 in both IEEE 11073 formats."""
    layout = gv.PresentationFormat.parse(bytes.fromhex(code + "00" + "0127" + "010000"))
    assert layout.number(bytes.fromhex(octets)) == value


@pytest.mark.parametrize("octets", ["FF07", "0008", "FE07", "0208", "0108"])
def test_medical_floats_that_are_words(octets: str) -> None:
    layout = gv.PresentationFormat.parse(bytes.fromhex("16000127010000"))
    assert math.isnan(layout.number(bytes.fromhex(octets)))


def test_the_exponent_is_for_whole_numbers_only() -> None:
    """Format types 0x14 and up are listed with `exponent: False`."""
    layout = gv.PresentationFormat.parse(bytes.fromhex("14FD0127010000"))
    assert layout.number(bytes.fromhex("0000C03F")) == 1.5
    assert layout.step is None


def test_units_by_assigned_number() -> None:
    listed = {"0127": "m", "A327": "ft", "A227": "in", "2427": "Pa", "8027": "bar", "A527": "psi", "2F27": "degC"}
    for number, unit in listed.items():
        assert gv.PresentationFormat.parse(bytes.fromhex("1000" + number + "010000")).unit == unit
    assert gv.PresentationFormat.parse(bytes.fromhex("10000027010000")).unit is None


def test_es_measurement_has_eleven_octets() -> None:
    es = gv.EsMeasurement.parse(bytes.fromhex("000000010000050000" + "1C04"))
    assert es == gv.EsMeasurement("unspecified", 1, 5, "outside", 0.02)
    es = gv.EsMeasurement.parse(bytes.fromhex("0000020A00003C000001FF"))
    assert es == gv.EsMeasurement("arithmetic mean", 10, 60, "air", None)
    es = gv.EsMeasurement.parse(bytes.fromhex("0000080000000000002201"))
    assert es == gv.EsMeasurement("reserved", None, None, "code 0x22", 0.005)
    with pytest.raises(gv.NotThisLayout):
        gv.EsMeasurement.parse(bytes(12))


def test_descriptor_value_changed_names_its_characteristic() -> None:
    assert gv.changed_characteristic(bytes.fromhex("08006C2A")) == "2a6c"
    long = bytes.fromhex("0800") + bytes.fromhex("0000a5010000" + "1000" + "8000" + "00805f9b34fb")[::-1]
    assert gv.changed_characteristic(long) == "0000a501-0000-1000-8000-00805f9b34fb"[4:8]
    with pytest.raises(gv.NotThisLayout):
        gv.changed_characteristic(b"\x01\x02\x03")


def test_identifiers_are_short_where_the_sig_assigned_them() -> None:
    assert gv.short_uuid("00002A6C-0000-1000-8000-00805F9B34FB") == "2a6c"
    assert gv.short_uuid("0x181A") == "181a"
    own = "6e400003-b5a3-f393-e0a9-e50e24dcca9e"
    assert gv.short_uuid(own.upper()) == own
    assert gv.long_uuid("2a6c") == "00002a6c-0000-1000-8000-00805f9b34fb"
    assert gv.long_uuid(own) == own


@given(st.binary(max_size=24), st.binary(max_size=24))
def test_any_octets_give_a_number_or_a_named_refusal(layout: bytes, value: bytes) -> None:
    for read in (gv.temperature_c, gv.battery_percent, gv.EsMeasurement.parse, gv.changed_characteristic):
        with contextlib.suppress(gv.NotThisLayout):
            read(value)
    with contextlib.suppress(gv.NotThisLayout):
        gv.PresentationFormat.parse(layout).number(value)
