"""Lines of text: numbers as devices write them, units in mid-stream, checks, refusals, patterns that must not hang."""

import math
import random
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.checks import check_bytes, crc16, crc16_ccitt
from drivers.decoders.lines import LinesDecoder
from drivers.decoders.numbers import feet_inches, hex_number, number
from drivers.decoders.pattern import digit_blind, of_chunk
from drivers.instrument import from_tables, load
from drivers.reading import Chunk, Reject
from drivers.tables import LinesTable


def decoder(
    height: dict[str, object] | None = None, *, ask: dict[str, object] | None = None, **table: object
) -> LinesDecoder:
    document: dict[str, object] = {
        "instrument": {"name": "t"},
        "decoder": {"kind": "lines", **table},
        "height": height or {"unit": "mm"},
    }
    if ask:
        document["ask"] = ask
    return LinesDecoder(from_tables(document, "test"))


def heights_mm(lines: LinesDecoder, data: bytes) -> list[float]:
    return [round(r.height_m * 1000, 6) for r in lines.feed(Chunk(1.0, data))]


NUMBER = r"^(?P<height>[-+]?\s*[\d.,]+\s?[-+]?)\s*(?P<unit>[a-zA-Z]+)?$"


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12.5", 12.5),
        ("+12,5", 12.5),
        ("- 3.25", -3.25),
        ("3.25-", -3.25),
        ("−4", -4),
        ("1,234.5", 1234.5),
        ("1.5E-3", 0.0015),
        (".5", 0.5),
        ("1.234,5", 1234.5),
        ("1'234.5", 1234.5),
        ("1 234,5", 1234.5),
    ],
)
def test_numbers_as_devices_write_them(text: str, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize("text", ["", "nan", "inf", "1_000", "12.3.4", "--1", "0x1F", "1,2,3", "߀", "1٣"])
def test_what_is_no_number(text: str) -> None:
    assert math.isnan(number(text))


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("4'-3 1/4\"", 51.25),
        ("4 ft 3.25 in", 51.25),
        ("4′ 3,25″", 51.25),
        ("4'3.25", 51.25),
        ("-1'-7 1/16\"", -19.0625),
        ("75 3/4 in", 75.75),
        ("20-5/16 in", 20.3125),
        ('3/8"', 0.375),
        ("3½ Zoll", 3.5),
        ("48.6''", 48.6),
        ("5 pieds", 60),
    ],
)
def test_feet_and_inches_in_one_height(text: str, inches: float) -> None:
    assert feet_inches(text) == inches


@pytest.mark.parametrize(
    "text", ["", "'", "4 kg", "9/8 in", "1/0 in", "4.5' 3\"", "1.5 1/4 in", "4' 3\" 2", "in", "4 in ٣", "٣ in"]
)
def test_what_is_no_length_in_feet_and_inches(text: str) -> None:
    assert math.isnan(feet_inches(text))


def test_heights_in_feet_and_inches() -> None:
    lines = decoder({"unit": "in"}, pattern=r"^(?P<height>.+)$", number="feet-inches")
    assert heights_mm(lines, b'1\'-0 1/2"\r\n1\'-1 1/2"\r\n-3/8"\r\nERR\r\n') == [317.5, 342.9, -9.525]
    assert lines.rejects == {Reject.NOT_A_NUMBER: 1}


def test_thousands_named_in_the_file() -> None:
    assert heights_mm(decoder(pattern=r"^(?P<height>\S+)", thousands=","), b"987\r\n998\r\n1,012\r\n") == [
        987,
        998,
        1012,
    ]
    assert heights_mm(decoder(pattern=r"^(?P<height>\S+)"), b"987\r\n998\r\n1,012\r\n") == [987, 998, 1.012]


@pytest.mark.parametrize("end", [b"\r", b"\n", b"\r\n"])
def test_line_ends(end: bytes) -> None:
    assert heights_mm(decoder(pattern=NUMBER), end.join([b"10", b"11", b"12", b""])) == [10, 11, 12]


def test_end_of_text_as_delimiter() -> None:
    assert heights_mm(decoder(pattern=r"(?P<height>\d+)", delimiter="\x03"), b"\x0210\x03\x0211\x03\x0212") == [10, 11]


def test_unit_switched_by_the_device() -> None:
    got = decoder(pattern=NUMBER).feed(Chunk(0.0, b"10 mm\r\n11 mm\r\n1.1 cm\r\n0.5 in\r\n7\r\n"))
    assert [r.height_m for r in got] == pytest.approx([0.010, 0.011, 0.011, 0.0127, 0.007])


def test_unknown_unit_is_refused() -> None:
    lines = decoder(pattern=NUMBER)
    assert heights_mm(lines, b"10 mm\r\n11 kg\r\n12 mm\r\n") == [10, 12]
    assert lines.rejects == {Reject.UNIT: 1}


def test_first_line_may_be_cut() -> None:
    lines = decoder(pattern=NUMBER)
    assert heights_mm(lines, b"3.4 mm\r\n123.5 mm\r\n123.6 mm\r\n") == [123.5, 123.6]
    assert lines.rejects == {Reject.LENGTH: 1}
    lines.reset()
    assert heights_mm(lines, b"5 mm\r\n123.7 mm\r\n") == [123.7]


def test_last_line_may_be_cut() -> None:
    lines = decoder(pattern=NUMBER)
    assert heights_mm(lines, b"10 mm\r\n11 mm\r\n12") == [10, 11]
    assert heights_mm(lines, b"5 mm\r\n") == [125]


def test_an_answer_is_whole() -> None:
    assert heights_mm(decoder(pattern=NUMBER, ask={"send": "R\r\n"}), b"10 mm\r\n") == [10]


def test_several_fields_and_columns() -> None:
    lines = decoder(
        columns={"height": [0, 7], "unit": [8, 10], "temperature": [11, 15], "battery": [16, 19], "stable": [20, 21]}
    )
    got = lines.feed(Chunk(0.0, b"+0012.5 mm 21.5 087 S\r\n+0012.6 mm 21.5 087 U\r\n"))
    assert [(r.height_m, r.temperature_c, r.battery, r.stable) for r in got] == [
        (0.0125, 21.5, 87, True),
        (0.0126, 21.5, 87, False),
    ]


def test_words_the_file_refuses() -> None:
    lines = decoder(pattern=r"(?P<height>\d+)", refuse=["OL", "Err"])
    assert heights_mm(lines, b"10\r\n11\r\nOL 99\r\nErr 5\r\n") == [10, 11]
    assert lines.rejects == {Reject.REFUSED: 2}


@pytest.mark.parametrize("kind", ["xor", "sum", "crc16", "crc16-ccitt", "sum-negated"])
def test_a_check_at_the_end_of_a_line(kind: str) -> None:
    lines = decoder(pattern=r"^#(?P<height>\d+)", check={"kind": kind, "from": "#", "to": "*"})
    told = {k: f"{int.from_bytes(check_bytes(k, b'10'), 'little' if k == 'crc16' else 'big'):X}" for k in (kind,)}[kind]
    good = f"#10*{told}\r\n".encode()
    assert heights_mm(lines, good + good + b"#11*" + told.encode() + b"\r\n#10*\r\n") == [10, 10]
    assert lines.rejects == {Reject.CHECKSUM: 2}


def test_checks_of_the_catalogues() -> None:
    # Check values of "123456789": CRC-16/MODBUS 4B37, CRC-16 of polynomial 1021 from FFFF 29B1 (public CRC catalogues).
    assert crc16(b"123456789") == 0x4B37
    assert crc16_ccitt(b"123456789") == 0x29B1


def test_hexadecimal_with_a_sign() -> None:
    lines = decoder(pattern=r"^(?P<height>[0-9A-F]{4})$", number="hex", bits=16)
    assert heights_mm(lines, b"000A\r\nFFFE\r\n7FFF\r\n") == [10, -2, 32767]
    read = hex_number(8)
    assert [read("0x7F"), read("FF"), hex_number(None)("-0A")] == [127, -1, -10]
    assert all(math.isnan(value) for value in (read("-05"), read("100"), read("1_0"), read("")))


@pytest.mark.parametrize("text", [b"1e999", b"99999999999"])
def test_no_height_on_earth(text: bytes) -> None:
    lines = decoder(pattern=r"^(?P<height>\S+)$")
    assert heights_mm(lines, text + b"\r\n" + text + b"\r\n") == []
    assert lines.rejects == {Reject.RANGE: 2} or lines.rejects == {Reject.NOT_A_NUMBER: 2}


def test_overlong_line_is_dropped_whole() -> None:
    lines = decoder(pattern=r"(?P<height>\d+)$")
    assert heights_mm(lines, b"1\r\n2\r\n" + b"x" * 5000 + b" 3\r\n4\r\n") == [1, 2, 4]
    assert lines.rejects == {Reject.LENGTH: 1}


@pytest.mark.parametrize("pattern", [r"^(?P<height>(\d+)+)!$", r"(?P<height>(a|a)*b)", r"(?P<height>.*.*.*.*.*.*x)"])
def test_a_pattern_cannot_hang_the_decoder(pattern: str) -> None:
    lines = decoder(pattern=pattern)
    begun = time.perf_counter()
    for _ in range(50):
        lines.feed(Chunk(0.0, b"1" * 60 + b"a" * 900 + b"\r\n"))
    assert time.perf_counter() - begun < 5.0
    assert lines.rejects


ODD = [b"10.0 mm", b"11.0 mm", b"OL", b"9 kg", b"-3,5 mm", b"+ 4 mm", b"1_0 mm", b"nan", b"1e9 mm", b"0.5 in", b"7"]


@pytest.mark.parametrize("pattern", [NUMBER, r"^\s*(?P<height>\S+)\s*(?P<unit>[^\d]+)?$", r"^(?P<height>[^ ]+)"])
def test_many_lines_at_once_read_as_each_alone(pattern: str) -> None:
    chance = random.Random(4)
    for _ in range(60):
        text = b"10.0 mm\r\n" + b"".join(chance.choice(ODD[: chance.randint(2, len(ODD))]) + b"\r\n" for _ in range(40))
        whole, single = (decoder(pattern=pattern, refuse=["OL"]) for _ in range(2))
        alone = [r.height_m for line in text.splitlines(keepends=True) for r in single.feed(Chunk(1.0, line))]
        together = [r.height_m for r in whole.feed(Chunk(1.0, text))]
        assert together == alone
        assert whole.rejects == single.rejects


@pytest.mark.parametrize(
    "pattern", [r"^(?P<height>[\s\d]+)", r"^(?P<height>\d+)\D*", r"^(?P<height>\d+)\n?", r"(?P<height>\d+)"]
)
def test_a_pattern_that_could_leave_its_line_is_not_read_at_once(pattern: str) -> None:
    assert of_chunk(pattern) is None


def test_the_shipped_patterns_are_read_at_once() -> None:
    for name in ("ascii-lines", "ascii-lines-metres"):
        table = load(name).decoder
        assert isinstance(table, LinesTable)
        assert of_chunk(table.pattern) is not None


UNIT = "(?P<unit>in|mm)"
BLIND = [rf"^\s*(?P<height>[+-]?\d+\.\d+)\s*{UNIT}?$", rf"^(?P<height>\S+) {UNIT}", r"^(?P<height>.*)$"]
SHAPES = [
    "%07.2f in",
    "%+07.2f mm",
    "%07.2f",
    "%05.0fe1 mm",
    "%06.1fx mm",
    "%+05.1f,5 mm",
    "OL %04.0f mm",
    "%04.0f 1 mm",
]


@pytest.mark.parametrize("pattern", BLIND)
@given(
    st.lists(st.tuples(st.sampled_from(SHAPES), st.integers(1, 12), st.floats(-500, 500)), max_size=12),
    st.integers(1, 300),
)
def test_lines_cut_by_their_shape_read_as_each_alone(
    pattern: str, runs: list[tuple[str, int, float]], piece: int
) -> None:
    lines = ["10.0 mm", "10.0 mm", *(shape % (start + i / 7) for shape, count, start in runs for i in range(count))]
    text = "".join(line + "\r\n" for line in lines).encode()
    whole, single = (decoder(pattern=pattern, refuse=["OL"]) for _ in range(2))
    alone = [r.height_m for line in text.splitlines(keepends=True) for r in single.feed(Chunk(1.0, line))]
    together = [r.height_m for at in range(0, len(text), piece) for r in whole.feed(Chunk(1.0, text[at : at + piece]))]
    assert together == alone
    assert whole.rejects == single.rejects


@pytest.mark.parametrize(("line", "mm"), [("%04.1f-", -12), ("%04.1f+", 12), ("12-%02d", None), ("1e+%02de", None)])
def test_many_lines_alike_that_python_reads_otherwise(line: str, mm: float | None) -> None:
    lines = decoder(pattern=r"^(?P<height>[-+.\de]+)")
    data = b"".join((line % 12).encode() + b"\r\n" for _ in range(12))
    assert heights_mm(lines, data) + heights_mm(lines, data) == ([] if mm is None else [mm] * 24)


def test_a_sign_of_its_own_may_stand_apart() -> None:
    lines = decoder(pattern=r"^(?P<sign>[-+] ?)?(?P<height>\d+)$")
    assert heights_mm(lines, b"- 10\r\n- 10\r\n-10\r\n+ 10\r\n") == [-10, -10, -10, 10]


def test_a_pattern_that_tells_digits_apart_is_not_cut_by_shape() -> None:
    assert digit_blind(BLIND[0])
    assert digit_blind(r"^(?P<height>[0-9]{1,4})")
    assert not digit_blind(r"^1 (?P<height>\d+)")
    assert not digit_blind(r"^[1-5](?P<height>\d+)")
    lines = decoder(pattern=r"^(?:1 )?(?P<height>\d+)")
    assert heights_mm(lines, b"1 10\r\n1 11\r\n2 12\r\n1 13\r\n") == [10, 11, 2, 13]
