"""Real captured bytes, decoded to what their notes and independent decoders say."""

import csv
import json
import re
import struct
from pathlib import Path

import pynmea2
import pytest

from drivers.capture import Decoded, decode_capture
from drivers.identify import recognise
from drivers.identify.proposal import UNSURE
from drivers.instrument import InstrumentFile, from_tables
from drivers.reading import Chunk, Reject
from drivers.registry import make_decoder


def instrument(decoder: dict[str, object], **tables: object) -> InstrumentFile:
    return from_tables({"instrument": {"name": "captured"}, "decoder": decoder, **tables}, "test")


def sentences(kind: str) -> InstrumentFile:
    return instrument({"kind": "nmea0183", "sentence": kind})


GGA = {
    "bundg_zeus_9": (138, -6, -4),
    "com-1289": (14, 42.1, 42.2),
    "firefly-II": (0, 0, 0),
    "garmin-geko201": (18, 695.7, 695.7),
    "gp-320fw-2019-04-07-coldboot": (2, 459.9, 460),
    "haicom-305N": (68, 2.5, 22.8),
    "humminbird-M37": (8, 267.9, 268.5),
    "isync": (12, 217.9, 218.5),
    "motorola-t805": (16, 133.1, 168),
    "nmea-fuzzy-cases": (14, 277.995, 280.833),
    "rx210": (40, 131.7, 167.8),
    "ublox-8": (72, 1112.7, 1145.3),
    "ublox-f9p-hpnmea": (9, 1129.91, 1130.21),
    "sirf2": (0, 0, 0),
}
DPT = {"bundg_zeus_9": (149, 5.2, 6.7), "humminbird-M37": (33, 2, 2.6), "sounder": (0, 0, 0)}
DBT = {"bundg_zeus_9": (148, 5.2, 6.7), "sounder": (122, 2.3, 2.5)}
CASES = [(k, n, c) for k, table in (("GGA", GGA), ("DPT", DPT), ("DBT", DBT)) for n, c in table.items()]


@pytest.mark.parametrize(("kind", "name", "expected"), CASES)
def test_nmea_logs_hold_what_an_independent_decoder_counts(
    corpus: Path, kind: str, name: str, expected: tuple[int, float, float]
) -> None:
    decoded = decode_capture(sentences(kind), corpus / "nmea" / f"{name}.log")
    heights = [r.height_m for r in decoded.readings]
    assert len(heights) == expected[0]
    if heights:
        assert (min(heights), max(heights)) == (
            pytest.approx(expected[1], abs=0.05),
            pytest.approx(expected[2], abs=0.05),
        )


@pytest.mark.parametrize("name", ["bundg_zeus_9", "haicom-305N", "rx210", "ublox-8", "isync", "sounder"])
def test_nmea_heights_equal_pynmea2(corpus: Path, name: str) -> None:
    path = corpus / "nmea" / f"{name}.log"
    theirs = []
    for line in path.read_bytes().splitlines():
        found = re.search(rb"\$[A-Z]{2}GGA,.*\*[0-9A-F]{2}", line)
        if found:
            parsed = pynmea2.parse(found[0].decode("ascii", "ignore"), check=True)
            if parsed.altitude is not None and parsed.gps_qual:
                theirs.append(float(parsed.altitude))
    assert [r.height_m for r in decode_capture(sentences("GGA"), path).readings] == pytest.approx(theirs)


@pytest.mark.parametrize("name", ["haicom-305N", "rx210", "motorola-t805", "nmea-fuzzy-cases", "humminbird-M37"])
def test_nmea_heights_are_those_of_gpsd(corpus: Path, name: str) -> None:
    decodes = [
        json.loads(line)
        for line in (corpus / "nmea" / f"{name}.log.chk").read_text().splitlines()
        if line.startswith("{")
    ]
    theirs = {round(d[key], 2) for d in decodes for key in ("altMSL",) if key in d}
    ours = {round(r.height_m, 2) for r in decode_capture(sentences("GGA"), corpus / "nmea" / f"{name}.log").readings}
    assert theirs
    assert len(theirs - ours) <= 0.05 * len(theirs), sorted(theirs - ours)


def test_gpsd_depths(corpus: Path) -> None:
    decodes = [
        json.loads(line)
        for line in (corpus / "nmea" / "bundg_zeus_9.log.chk").read_text().splitlines()
        if line.startswith("{")
    ]
    theirs = {round(d["depth"], 2) for d in decodes if "depth" in d}
    ours = {
        round(r.height_m, 2) for r in decode_capture(sentences("DPT"), corpus / "nmea" / "bundg_zeus_9.log").readings
    }
    assert theirs
    assert theirs <= ours | {round(h + 0.01, 2) for h in ours} | {round(h - 0.01, 2) for h in ours}


def test_dirty_log_counts_its_wrong_checksums(corpus: Path) -> None:
    decoded = decode_capture(sentences("GGA"), corpus / "nmea" / "firefly-II.log")
    assert decoded.rejects[Reject.CHECKSUM] == 23


def test_sentence_that_starts_in_the_middle(corpus: Path) -> None:
    decoded = decode_capture(sentences("GGA"), corpus / "serial" / "gps_mtk3339_midstream.bin")
    bodies = re.findall(rb"\$GPGGA,[^\r]*\r\n", (corpus / "serial" / "gps_mtk3339_midstream.bin").read_bytes())
    assert len(decoded.readings) == len(bodies)


BALANCE = r"^(?P<height>[+-]\d+\.?\d*)\s*(?:G|PC|CT|%) (?P<stable>[SU])$"


def balance(corpus: Path, name: str) -> Decoded:
    table = {"kind": "lines", "pattern": BALANCE}
    return decode_capture(instrument(table, height={"unit": "mm"}), corpus / "serial" / f"{name}.bin")


@pytest.mark.parametrize(
    ("name", "value", "stable"),
    [
        ("scale_0g", 0.0, True),
        ("scale_26_9g_stable", 26.90, True),
        ("scale_26_9g_unstable", 26.90, False),
        ("scale_127_2g_15byte_packet", 127.20, True),
        ("scale_402_95g_15byte_packet_unstable_9600_8o2", 402.95, False),
        ("scale_635_8ct", 635.8, True),
        ("scale_minus_0_04g", -0.04, True),
        ("scale_0pcs", 0.0, True),
        ("scale_0percent", 0.0, False),
    ],
)
def test_balance_lines_with_their_flag(corpus: Path, name: str, value: float, stable: bool) -> None:
    decoded = balance(corpus, name)
    lines = (corpus / "serial" / f"{name}.bin").read_bytes().count(b"\n")
    assert len(decoded.readings) == lines
    assert {(round(r.height_m, 9), r.stable) for r in decoded.readings} == {(round(value / 1000, 9), stable)}


def test_overload_lines_are_no_heights(corpus: Path) -> None:
    decoded = balance(corpus, "scale_various_values_and_overflow")
    text = (corpus / "serial" / "scale_various_values_and_overflow.bin").read_bytes()
    good = [line for line in text.split(b"\r\n") if re.fullmatch(BALANCE.encode(), line)]
    assert len(decoded.readings) == len(good)
    assert decoded.rejects[Reject.NOT_MINE] == len([line for line in text.split(b"\r\n")[:-1] if line not in good])


def test_meter_lines(corpus: Path) -> None:
    path = corpus / "serial" / "dmm_es51978_resistance.bin"
    table = {"kind": "lines", "pattern": r"^(?P<height>\d{5})\d{4}$"}
    serial = {"baud": 2400, "bits": 7, "parity": "even"}
    decoded = decode_capture(instrument(table, height={"unit": "mm"}, serial=serial), path)
    whole = re.findall(rb"\d{9}(?=\r\n)", path.read_bytes())
    assert [round(r.height_m * 1000) for r in decoded.readings] == [int(w[:5]) for w in whole][-len(decoded.readings) :]
    assert len(decoded.readings) >= len(whole) - 1


LAMP = r"^AMPEL (?P<height>\d+)$"


@pytest.mark.parametrize("name", ["errors_ampel64_4800_8n1_ok", "errors_ampel64_4800_8n2_ok"])
def test_a_line_with_right_framing_is_read(corpus: Path, name: str) -> None:
    decoded = decode_capture(instrument({"kind": "lines", "pattern": LAMP}), corpus / "serial" / f"{name}.bin")
    assert [r.height_m for r in decoded.readings] == [64.0]
    assert not decoded.rejects


def test_a_line_with_wrong_framing_is_none(corpus: Path) -> None:
    path = corpus / "serial" / "errors_ampel64_4800_8n1_frame_errors.bin"
    for pattern in (LAMP, r"^[A-Z]+ *(?P<height>\d+)$"):
        decoded = decode_capture(instrument({"kind": "lines", "pattern": pattern}), path)
        assert decoded.readings == []
        assert decoded.rejects == {Reject.NOT_MINE: 1}


@pytest.mark.parametrize("name", ["errors_ampel64_4800_8n1_ok", "errors_ampel64_4800_8n1_frame_errors"])
def test_one_line_is_never_identified_for_sure(corpus: Path, name: str) -> None:
    assert recognise((corpus / "serial" / f"{name}.bin").read_bytes()).confidence < UNSURE


def frames(corpus: Path, *names: str) -> list[Chunk]:
    """Frames of captures with their times, in order."""
    lines = [
        line.split() for name in names for line in (corpus / "modbus" / f"{name}.frames.txt").read_text().splitlines()
    ]
    return [Chunk(t, data) for t, data in sorted((float(p[0]), bytes.fromhex("".join(p[1:-1]))) for p in lines)]


def by_pymodbus(corpus: Path, capture: str) -> list[dict[str, str]]:
    with (corpus / "modbus" / "decoded_by_pymodbus.csv").open() as rows:
        return [row for row in csv.DictReader(rows) if row["capture"].startswith(capture)]


def test_modbus_floats_with_the_low_word_first(corpus: Path) -> None:
    rows = by_pymodbus(corpus, "wizmodbus")
    heard = frames(corpus, "wizmodbus_RX", "wizmodbus_TX")
    for address in {int(r["address"]) for r in rows}:
        table = {"kind": "modbus", "address": address, "order": "CDAB", "listen": True}
        decoder = make_decoder(instrument(table, height={"unit": "mm"}))
        ours = [r.height_m * 1000 for chunk in heard for r in decoder.feed(chunk)]
        theirs = [float(r["float_CDAB"]) for r in rows if int(r["address"]) == address and r["float_CDAB"]]
        believable = [v for v in theirs if abs(v) <= 2e7]
        assert ours == pytest.approx(believable, rel=1e-5)
        assert decoder.rejects[Reject.RANGE] == len(theirs) - len(believable)


def test_modbus_block_of_fifteen_registers(corpus: Path) -> None:
    table = {"kind": "modbus", "unit": 247, "address": 2, "listen": True}
    decoder = make_decoder(instrument(table, height={"unit": "mm"}))
    heard = frames(corpus, "flowmeter_target_15liter_per_min")
    ours = [r.height_m * 1000 for chunk in heard for r in decoder.feed(chunk)]
    blocks = [c.data[3:-2] for c in heard if c.data[:3] == b"\xf7\x03\x1e"]
    assert len(ours) == len(blocks) > 3
    assert ours == pytest.approx([struct.unpack(">f", block[4:8])[0] for block in blocks])


def test_pure_binary_yields_nothing(corpus: Path) -> None:
    path = corpus / "nmea" / "sirf2.log"
    tables: list[dict[str, object]] = [
        {"kind": "nmea0183"},
        {"kind": "scpi"},
        {"kind": "modbus"},
        {"kind": "lines", "pattern": r"^\s*(?P<height>[+-]?\d+[.,]\d+)\s*(?P<unit>in|m)\s*$"},
        {"kind": "frames", "sync": "AA 55", "length": 10, "check": "crc16", "height": {"at": 2, "type": "int32"}},
    ]
    for table in tables:
        assert decode_capture(instrument(table), path).readings == []
