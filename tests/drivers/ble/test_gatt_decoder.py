"""Chunks of a Bluetooth LE link to readings, without a radio.

Heights from pressure: 0.1 Pa is 0.0102 mm of water; a column of 1 m of water at 15 °C (999.1026 kg/m3, Tanaka 2001) under
standard gravity presses with 9797.85 Pa, computed from those two figures.
"""

import pytest
from ble_bench import SERIAL_IN, SERIAL_OUT, instrument
from hypothesis import given
from hypothesis import strategies as st

from drivers.decoders.gatt import GattDecoder
from drivers.errors import InstrumentFileError
from drivers.instrument import load
from drivers.reading import Chunk, Reject


def heights(decoder: GattDecoder, *chunks: tuple[str, str]) -> list[float]:
    fed = (Chunk(float(i), bytes.fromhex(data), channel) for i, (channel, data) in enumerate(chunks))
    return [r.height_m for chunk in fed for r in decoder.feed(chunk)]


def test_elevation() -> None:
    decoder = GattDecoder(load("ble-elevation"))
    shown = heights(decoder, ("2a6c", "7B0000"), ("2a6c", "85FFFF"), ("2a6c", "FFFFFF"), ("2a6c", "102700"))
    assert shown == [1.23, -1.23, -0.01, 100.0]


def test_elevation_is_said_to_be_too_coarse() -> None:
    file = load("ble-elevation")
    decoder = GattDecoder(file)
    assert decoder.resolution_m == 0.01
    assert any("steps of 10 mm: too coarse" in remark for remark in decoder.remarks)
    assert file.settle_rule.resolution_m == 0.01


def test_pressure_through_water_and_gravity() -> None:
    decoder = GattDecoder(load("ble-pressure-water"))
    assert heights(decoder, ("2a6d", (97978).to_bytes(4, "little").hex())) == pytest.approx([-1.0], abs=1e-5)
    assert decoder.resolution_m == pytest.approx(1.0206e-5, rel=1e-3)
    assert not decoder.remarks


def test_the_shipped_files_are_read_and_have_decoders() -> None:
    for name in ("ble-elevation", "ble-pressure-water", "ble-described", "ble-serial-lines"):
        GattDecoder(load(name))


def test_a_characteristic_that_describes_itself() -> None:
    own = "0000a501-3c17-4d2e-9b64-6f1d0c8e7a52"
    decoder = GattDecoder(instrument(f'characteristic = "{own}"'))
    value = (own, (3892).to_bytes(4, "little").hex())
    assert heights(decoder, value) == []
    assert decoder.rejects == {Reject.UNIT: 1}
    assert heights(decoder, (f"{own}/2904", "10FD0127010000"), value) == [3.892]
    assert decoder.resolution_m == pytest.approx(0.001)
    feet = (f"{own}/2904", "10FDA327010000")
    assert heights(decoder, feet, value) == pytest.approx([3.892 * 0.3048])


def test_the_file_tells_the_type_where_the_device_does_not() -> None:
    own = "0000a501-3c17-4d2e-9b64-6f1d0c8e7a52"
    file = instrument(f'characteristic = "{own}"\ntype = "sint16"', '[height]\nunit = "mm"\nscale = 0.1')
    decoder = GattDecoder(file)
    assert heights(decoder, (own, "D204")) == pytest.approx([0.1234])
    assert decoder.resolution_m == pytest.approx(0.0001)


@pytest.mark.parametrize("unit", ["AD27", "2F27", "6327"])
def test_a_unit_that_is_no_height_is_refused_and_told(unit: str) -> None:
    """Percentage 0x27AD, degree Celsius 0x272F, degree of an angle 0x2763 (SIG, Assigned Numbers)."""
    decoder = GattDecoder(instrument())
    assert heights(decoder, ("2a6c/2904", f"0FFE{unit}010000"), ("2a6c", "7B0000")) == []
    assert decoder.rejects == {Reject.UNIT: 1}
    assert "which is no height" in decoder.remarks[-1]
    assert heights(decoder, ("2a6c/2904", "0FFE0027010000"), ("2a6c", "7B0000")) == [1.23]


def test_a_stated_uncertainty_is_a_scale_and_is_told() -> None:
    """4 times 0.5 % of the value, as limits of a rectangular distribution (JCGM 100, 4.3.7): over root 3."""
    decoder = GattDecoder(instrument())
    heights(decoder, ("2a6c/290c", "000002" + "0A0000" + "050000" + "02" + "04"))
    assert decoder.scale_u == pytest.approx(0.0115470, rel=1e-5)
    assert any("2 % of what it shows as its uncertainty: 20 mm in a metre" in remark for remark in decoder.remarks)
    assert decoder.facts == {
        "sampling": "arithmetic mean",
        "measurement period": "10 s",
        "update interval": "5 s",
        "applies to": "water",
        "stated uncertainty": "2 %",
    }
    for unknown in ("FF", "00"):
        heights(decoder, ("2a6c/290c", "000001" + "000000" * 2 + "00" + unknown))
        assert decoder.scale_u == 0.0
    decoder.reset()
    assert decoder.scale_u == 0.0


def test_heights_from_satellites_or_maps_are_said_to_be_too_rough() -> None:
    for code, rough in ((3, False), (6, True), (7, True), (8, True), (9, True), (10, False)):
        decoder = GattDecoder(instrument())
        heights(decoder, ("2a6c/290c", f"000001{'000000' * 2}{code:02X}FF"))
        assert any("too rough" in remark for remark in decoder.remarks) is rough


def test_a_wrong_length_and_what_is_no_number_are_refused() -> None:
    decoder = GattDecoder(instrument())
    assert heights(decoder, ("2a6c", "7B00"), ("2a6c", "")) == []
    assert heights(decoder, ("2a6c/2904", "14000127010000"), ("2a6c", "0000C07F"), ("2a6c", "0000807F")) == []
    assert decoder.rejects == {Reject.LENGTH: 2, Reject.NOT_A_NUMBER: 2}


def test_temperature_battery_and_facts_go_with_the_readings() -> None:
    decoder = GattDecoder(instrument())
    told = [("2a6e", b"\x59\x08"), ("2a19", b"\x57"), ("2a29", b"Bench\x00"), ("name", "Höhe".encode())]
    for channel, data in told:
        assert not decoder.feed(Chunk(0.0, data, channel))
    (reading,) = decoder.feed(Chunk(1.0, bytes(3), "2a6c"))
    assert (reading.temperature_c, reading.battery) == (21.37, 87.0)
    assert decoder.facts == {"manufacturer": "Bench", "name": "Höhe"}
    decoder.feed(Chunk(2.0, b"\x00\x80", "2a6e"))
    (reading,) = decoder.feed(Chunk(3.0, bytes(3), "2a6c"))
    assert reading.temperature_c is None


def test_a_stale_temperature_is_not_passed_on() -> None:
    decoder = GattDecoder(instrument())
    decoder.feed(Chunk(0.0, b"\x59\x08", "2a6e"))
    (reading,) = decoder.feed(Chunk(100.0, bytes(3), "2a6c"))
    assert reading.temperature_c is None


def test_after_a_gap_the_format_must_be_told_again() -> None:
    own = "0000a501-3c17-4d2e-9b64-6f1d0c8e7a52"
    decoder = GattDecoder(instrument(f'characteristic = "{own}"'))
    heights(decoder, (f"{own}/2904", "10FD0127010000"))
    decoder.reset()
    assert heights(decoder, (own, "01000000")) == []


SERIAL = f'notify = "{SERIAL_OUT}"\nwrite = "{SERIAL_IN}"\n[decoder.inner]\n'


@given(st.lists(st.integers(1, 40), min_size=1, max_size=60))
def test_lines_cut_anywhere_across_notifications(cuts: list[int]) -> None:
    text = b"".join(b"%+07.1f mm\r\n" % (n * 12.5 - 100) for n in range(30))
    file = instrument(SERIAL + 'kind = "lines"\npattern = "(?P<height>[-+.0-9]+) mm"', '[height]\nunit = "mm"')
    decoder, shown, at = GattDecoder(file), [], 0
    while at < len(text):
        size = cuts[at % len(cuts)]
        shown += [r.height_m for r in decoder.feed(Chunk(0.0, text[at : at + size], SERIAL_OUT))]
        at += size
    assert shown == pytest.approx([(n * 12.5 - 100) / 1000 for n in range(30)])


def test_modbus_over_gatt() -> None:
    """Question and answer of the Modbus specification's example: 44609 in the first register of three from 107."""
    file = instrument(SERIAL + 'kind = "modbus"\nunit = 17\naddress = 107\ntype = "uint16"', '[height]\nunit = "mm"')
    decoder = GattDecoder(file)
    assert decoder.request() == bytes.fromhex("11 03 00 6B 00 01 F7 46".replace(" ", ""))
    answer = bytes.fromhex("110302AE41") + (0x9C46).to_bytes(2, "big")
    from drivers.checks import CHECKS

    crc = CHECKS["crc16"][0](answer[:5]).to_bytes(2, "little")
    shown = [
        r.height_m for piece in (answer[:3], answer[3:5] + crc) for r in decoder.feed(Chunk(0.0, piece, SERIAL_OUT))
    ]
    assert shown == [44.609]


def test_nmea_over_gatt_counts_a_bad_checksum() -> None:
    file = instrument(SERIAL + 'kind = "nmea0183"\nsentence = "DPT"')
    decoder = GattDecoder(file)
    text = b"$INDPT,2.3,0.0*46\r\n$INDPT,2.4,0.0*46\r\n"
    assert [r.height_m for r in decoder.feed(Chunk(0.0, text, SERIAL_OUT))] == [2.3]
    assert decoder.rejects[Reject.CHECKSUM] == 1


def test_mistakes_in_the_file_are_all_reported() -> None:
    with pytest.raises(InstrumentFileError) as error:
        instrument(f'service = "xyz"\nnotify = "{SERIAL_OUT}"\n[decoder.inner]\nkind = "lines"\npatern = "x"')
    assert any("service" in m for m in error.value.mistakes)
    assert any("patern" in m for m in error.value.mistakes)
    for wrong in ('service = "181a"', f'notify = "{SERIAL_OUT}"', f'characteristic = "2a6c"\n{SERIAL}kind = "scpi"'):
        with pytest.raises(InstrumentFileError):
            instrument(wrong)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["2a6c", "2a6c/2904", "2a6c/290c", "2a6e", "2a19", "2a29", "2a7d", "x", ""]),
            st.binary(max_size=20),
        ),
        max_size=30,
    )
)
def test_noise_never_raises_and_is_counted(chunks: list[tuple[str, bytes]]) -> None:
    decoder = GattDecoder(instrument())
    for channel, data in chunks:
        for reading in decoder.feed(Chunk(0.0, data, channel)):
            assert abs(reading.height_m) <= 20_000
    assert len(decoder.remarks) <= 8
