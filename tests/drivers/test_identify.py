"""Identifying unknown streams: right where the stream tells enough, unsure where it does not, never surely wrong."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import reduce
from operator import xor

import pytest

from drivers.identify import Recognised, recognise
from drivers.reading import Chunk
from drivers.registry import make_decoder

INCH = 0.0254
FOOT = 0.3048
LINES = 60


def walked(seed: int, count: int = LINES) -> list[float]:
    """Heights in metres of a probe that is put down every two seconds and swings into its place; ten readings a second."""
    chance = random.Random(seed)
    shown, target, before = [], chance.uniform(0.2, 0.6), 0.4
    for i in range(count):
        if i % 20 == 0 and i:
            before, target = target, target + chance.uniform(0.05, 0.3) * chance.choice((1, 1, -1))
        since = i % 20 / 10
        swing = (before - target) * math.exp(-since / 0.25) * math.cos(9 * since)
        shown.append(target + swing + chance.gauss(0, 0.0003))
    return shown


Line = Callable[[int, float], str]


def grouped(value: float) -> str:
    return f"{value:,.1f}"


def hexed(mm: float) -> str:
    return f"{round(mm) & 0xFFFF:04X}"


def turned(number: str) -> str:
    return number.translate(str.maketrans(",.", ".,"))


def fraction(height_m: float, parts: int, mark: str, between: str = " ") -> str:
    inches, rest = divmod(round(abs(height_m) / INCH * parts), parts)
    part = Fraction(rest, parts)
    return ("-" if height_m < 0 else "") + (f"{inches}{between}{part}" if rest else f"{inches}") + mark


def feet_inches(height_m: float, parts: int) -> str:
    feet, rest = divmod(round(abs(height_m) / INCH * parts), 12 * parts)
    return f"{'-' if height_m < 0 else ''}{feet}'-" + fraction(rest * INCH / parts, parts, '"')


def with_check(text: str) -> str:
    return f"\x02{text}\x03{chr(reduce(xor, text.encode(), 3))}"


@dataclass(frozen=True)
class Stream:
    """One kind of line and the metres that one of its numbers is."""

    name: str
    line: Line
    step_m: float
    end: str = "\r\n"
    encoding: str = "utf-8"
    shift_m: float = 0.0
    """Added to the walk, to bring numbers below zero or far above."""


TELLING = [
    Stream("plain inches", lambda i, h: f"{h / INCH:+.2f} in", INCH / 100),
    Stream("glued unit", lambda i, h: f"{h * 1000:.1f}mm", 1e-4),
    Stream("metres", lambda i, h: f"{h:.4f} m", 1e-4),
    Stream("centimetres with a state", lambda i, h: f"{h * 100:+07.2f} cm {'S' if i % 20 > 8 else 'U'}", 1e-4),
    Stream("state before", lambda i, h: f"{'ST' if i % 20 > 8 else 'US'},GS,{h * 1000:+08.1f},mm", 1e-4),
    Stream("decimal comma", lambda i, h: f"{h:.3f} m".replace(".", ","), 1e-3),
    Stream("decimal comma, millimetres", lambda i, h: f"H {h * 1000:.1f} mm".replace(".", ","), 1e-4),
    Stream("semicolons", lambda i, h: f"{i};{h:.4f};m;21,5;C".replace(".", ","), 1e-4),
    Stream("counter and comma", lambda i, h: f"{i + 117},{h * 1000:.0f},mm", 1e-3),
    Stream("counter before", lambda i, h: f"{i:05d} {h:.4f} m", 1e-4),
    Stream("counter and check", lambda i, h: f"#{i % 100:02d} {h:+.4f} m *{i * 37 % 256:02X}", 1e-4),
    Stream("sign behind", lambda i, h: f"{abs(h) * 1000:08.2f}{'-' if h < 0 else '+'} mm", 1e-5, shift_m=-0.5),
    Stream("sign behind or nothing", lambda i, h: f"{abs(h):.4f}{'-' if h < 0 else ' '} m", 1e-4, shift_m=-0.5),
    Stream("sign apart", lambda i, h: f"{'-' if h < 0 else '+'} {abs(h) * 1000:7.2f} mm", 1e-5, shift_m=-0.5),
    Stream("height and temperature", lambda i, h: f"{h:.4f} m {21.5 + i % 3 / 10:.1f} C", 1e-4),
    Stream("temperature first", lambda i, h: f"T={18.2 + i % 2 / 10:.1f}C H={h / INCH:.2f}in", INCH / 100),
    Stream("labels", lambda i, h: f"level: {h * 100:.2f} cm, temp: 21.4", 1e-4),
    Stream("labels in German", lambda i, h: f"Höhe: {h * 1000:.1f} Millimeter Akku: 87 %".replace(".", ","), 1e-4),
    Stream("German inches", lambda i, h: f"Hoehe {h / INCH:.2f} Zoll", INCH / 100),
    Stream("French", lambda i, h: f"hauteur {h:.3f} mètres".replace(".", ","), 1e-3, encoding="latin-1"),
    Stream("French inches", lambda i, h: f"{h / INCH:.2f} pouces", INCH / 100),
    Stream("Spanish", lambda i, h: f"nivel {h * 100:.1f} centímetros", 1e-3),
    Stream("Italian", lambda i, h: f"{h * 1000:.0f} millimetri", 1e-3),
    Stream("Polish", lambda i, h: f"wysokość {h:.3f} metra".replace("metra", "metr"), 1e-3),
    Stream("Russian", lambda i, h: f"{h * 1000:.1f} мм", 1e-4),
    Stream("Portuguese feet", lambda i, h: f"altura {h / FOOT:.3f} pés", FOOT / 1000),
    Stream("Swedish", lambda i, h: f"höjd {h / INCH:.2f} tum", INCH / 100),
    Stream("Chinese", lambda i, h: f"{h * 1000:.1f} 毫米", 1e-4),
    Stream("decimal feet", lambda i, h: f"{h / FOOT:.3f} ft", FOOT / 1000),
    Stream("two units of one height", lambda i, h: f"{h:.4f} m {h / FOOT:.3f} ft", 1e-4),
    Stream("labelled among lengths", lambda i, h: f"dist 12.50 m height {h:.4f} m", 1e-4),
    Stream("hex with a unit", lambda i, h: f"{hexed(h * 1000)} mm", 1e-3),
    Stream("hex below zero", lambda i, h: f"0x{hexed(h * 1000)} mm", 1e-3, shift_m=-0.45),
    Stream("exponent", lambda i, h: f"{h:+.5E} m", 1e-5),
    Stream("unit first", lambda i, h: f"mm {h * 1000:8.2f}", 1e-5),
    Stream("brackets", lambda i, h: f"height [cm] = {h * 100:.2f}", 1e-4),
    Stream("pieces ended by ETX", lambda i, h: f"\x02{h * 1000:+.1f}mm", 1e-4, end="\x03"),
    Stream("pieces ended by semicolon", lambda i, h: f"{h:.4f}m", 1e-4, end=";"),
    Stream("JSON", lambda i, h: f'{{"seq":{i},"height":{h:.4f},"unit":"m","temp":21.5}}', 1e-4),
    Stream("clock before", lambda i, h: f"12:{i // 60:02d}:{i % 60:02d} {h:.4f} m", 1e-4),
    Stream("thousands", lambda i, h: f"{grouped(h * 1000)} mm", 1e-4, shift_m=1.6),
    Stream("unit changes", lambda i, h: f"{h / INCH:.3f} in" if i < 30 else f"{h * 1000:.2f} mm", INCH / 1000),
    Stream("over-range words", lambda i, h: "OL" if i % 15 == 3 else f"{h:.4f} m", 1e-4),
    Stream("battery behind", lambda i, h: f"{h * 1000:.1f} mm 3.92V", 1e-4),
    Stream("kinds by turns", lambda i, h: f"T {21.5:.1f} C" if i % 4 == 3 else f"H {h:.4f} m", 1e-4),
    Stream("tabs", lambda i, h: f"{i}\t{h:.4f}\tm\tOK", 1e-4),
    Stream("feet and inches", lambda i, h: f"{int(h / FOOT)}' {h % FOOT / INCH:.2f}\"", INCH / 100),
    Stream("feet, inches, fractions", lambda i, h: feet_inches(h, 16), INCH / 16, shift_m=1.0),
    Stream("feet and inches below zero", lambda i, h: feet_inches(h, 8), INCH / 8, shift_m=-1.5),
    Stream("feet and inches in words", lambda i, h: f"#{i} {h // FOOT:.0f} ft {h % FOOT / INCH:.1f} in 71F", INCH / 10),
    Stream("feet, no inch mark", lambda i, h: f"{int(h / FOOT)}'{h % FOOT / INCH:05.2f}", INCH / 100),
    Stream("inches and fractions", lambda i, h: fraction(h, 8, '"'), INCH / 8),
    Stream("inches, dash, fractions", lambda i, h: fraction(h, 16, " in", "-"), INCH / 16),
    Stream("thousands with a point", lambda i, h: turned(grouped(h * 1000)) + " mm", 1e-4, shift_m=0.55),
    Stream("thousands with a blank", lambda i, h: grouped(h * 1000).replace(",", " ") + " mm", 1e-4, shift_m=0.35),
    Stream(
        "thousands with an apostrophe", lambda i, h: grouped(h * 1000).replace(",", "'") + " mm", 1e-4, shift_m=0.55
    ),
    Stream("whole thousands", lambda i, h: f"{round(h * 1000):,} mm", 1e-3, shift_m=0.35),
    Stream("date and time", lambda i, h: f"2026-05-04T14:03:{i:02d}.120Z {h:.4f} m", 1e-4),
    Stream("date, comma", lambda i, h: f"04.05.2026 14:03:{i:02d};{h:.4f}".replace(":.", ",") + ";m;84;%", 1e-4),
    Stream("milliseconds, comma", lambda i, h: f"{52000 + i * 100 + i % 3},{h * 1000:.1f},mm,18.4,C", 1e-4),
    Stream("hours alone", lambda i, h: f"14:{i:02d} {h * 1000:.1f} mm 18,4 C".replace(".", ","), 1e-4),
    Stream(
        "STX, text, ETX, check byte", lambda i, h: with_check(f"{h * 1000:+08.1f} mm"), 1e-4, end="", encoding="latin-1"
    ),
    Stream("check before", lambda i, h: f"{i * 37 % 256:02X}:{h:+.4f} m", 1e-4),
    Stream("check of four digits", lambda i, h: f"{h:+.4f} m;{i * 40503 & 0xFFFF:04X}", 1e-4),
    Stream("own sentence", lambda i, h: f"$PLVH,{h:.4f},M,18.2,C*{i * 5 % 256:02X}", 1e-4),
    Stream("state glued on", lambda i, h: f"{h * 1000:8.1f}mm{'S' if i % 20 > 8 else ' '}", 1e-4),
    Stream("state A or B", lambda i, h: f"{h / INCH:+08.3f} in {'A' if i % 20 > 8 else 'B'}", INCH / 1000),
    Stream(
        "sign behind the unit", lambda i, h: f"{abs(h) * 1000:8.1f} mm {'-' if h < 0 else '+'}", 1e-4, shift_m=-0.45
    ),
    Stream("sign glued behind", lambda i, h: f"{abs(h) * 1000:08.1f}{'-' if h < 0 else ' '}mm", 1e-4, shift_m=-0.45),
    Stream("sign in a column", lambda i, h: f"{i};{'-' if h < 0 else '+'};{abs(h) * 1000:.1f};mm", 1e-4, shift_m=-0.45),
    Stream("unit in the key", lambda i, h: f'{{"ts":{i * 100},"height_mm":{h * 1000:.1f},"temp_c":18.5}}', 1e-4),
    Stream("attribute", lambda i, h: f'<h unit="mm">{h * 1000:.1f}</h>', 1e-4),
    Stream("tolerance behind", lambda i, h: f"dz = {h * 1000:+.1f} mm ± {0.3 + i % 3 / 10:.1f} mm", 1e-4),
    Stream("tilt beside", lambda i, h: f"H:{h:.4f}m,X:{0.12 + i % 4 / 100:.2f}deg,Y:-0.34deg", 1e-4),
    Stream("address before", lambda i, h: f"01:{h:+.4f} m", 1e-4),
    Stream("raw and height", lambda i, h: f"raw:{h * 9876:.0f} H:{h:.4f} m", 1e-4),
    Stream("Fahrenheit beside", lambda i, h: f"{h / INCH:.2f} in {65.3 + i % 3 / 10:.1f} F 91%", INCH / 100),
    Stream("error numbers", lambda i, h: "ERR 05" if i % 15 == 4 else f"{h * 1000:.1f} mm", 1e-4),
    Stream("question echoed", lambda i, h: f"R\r\n{h * 1000:+.1f} mm", 1e-4),
    Stream("quoted", lambda i, h: f'"{i}","{h:.4f}","m","18.5"', 1e-4),
    Stream("decimal commas between commas", lambda i, h: f"{h * 1000:.1f},mm,21.5,C".replace(".", ","), 1e-4),
    Stream("Czech", lambda i, h: f"výška {h * 1000:.1f} mm teplota 18.5 °C".replace(".", ","), 1e-4),
    Stream("Turkish", lambda i, h: f"yükseklik: {h / INCH:.2f} inç".replace(".", ","), INCH / 100),
    Stream("units first throughout", lambda i, h: f"mm,{h * 1000:.1f},C,18.5", 1e-4),
    Stream("wide signs", lambda i, h: f"高度：{h * 1000:.1f}毫米 温度：18.5℃", 1e-4),
    Stream("Korean", lambda i, h: f"높이 {h:.4f} 미터", 1e-4),
    Stream("Greek", lambda i, h: f"ύψος {h:.4f} μέτρα".replace(".", ","), 1e-4),
    Stream("Arabic", lambda i, h: f"{h:.4f} متر", 1e-4),
    Stream("Hebrew", lambda i, h: f'{h * 1000:.1f} מ"מ', 1e-4),
    Stream("German on an old code page", lambda i, h: f"Höhe {h * 100:.2f} cm  19 °C", 1e-4, encoding="cp1252"),
    Stream("every line ended by NUL", lambda i, h: f"{h:.4f} m", 1e-4, end="\0"),
]

UNTELLING = [
    Stream("bare, metres", lambda i, h: f"{h:.4f}", 1e-4),
    Stream("bare, inches", lambda i, h: f"{h / INCH:.2f}", INCH / 100),
    Stream("bare counts", lambda i, h: f"{h * 12345:.0f}", 1e-3),
    Stream("hex without a unit", lambda i, h: hexed(h * 1000), 1e-3),
    Stream("two bare numbers", lambda i, h: f"{h:.4f} {h * 0.7 + 0.1 * math.sin(i):.4f}", 1e-4),
    Stream("two heights, one unit each", lambda i, h: f"{h:.4f} m {0.3 + 0.1 * math.sin(i / 9):.4f} m", 1e-4),
    Stream("weight", lambda i, h: f"+{h * 1000:07.2f} G S", 1e-5),
    Stream("grams", lambda i, h: f"{h * 1000:.1f} g", 1e-4),
    Stream("volts", lambda i, h: f"{h:.4f} V", 1e-4),
    Stream("speed", lambda i, h: f"{h:.3f} m/s", 1e-3),
    Stream("temperature", lambda i, h: f"{20 + h:.2f} C", 1e-2),
    Stream("counter alone", lambda i, h: f"{i}", 1e-3),
    Stream("text", lambda i, h: "ready", 1e-3),
    Stream("volume flow", lambda i, h: f"{h:.3f} m3/h", 1e-3),
    Stream("distance", lambda i, h: f"dist {h + 3:.3f} m", 1e-3),
    Stream("barometer", lambda i, h: f"{1013.2 + h:.2f} hPa 18.5 C", 1e-3),
    Stream("least and most", lambda i, h: f"min {h - 0.01:.4f} m max {h + 0.02 + math.sin(i) / 50:.4f} m", 1e-4),
    Stream("a count with a unit", lambda i, h: f"{i} m", 1e-3),
    Stream("thousands or thousandths", lambda i, h: f"{1 + h:.3f} mm", 1e-3),
    Stream("feet and inches without marks", lambda i, h: f"{int(h / FOOT)}-{h % FOOT / INCH:05.2f}", 1e-3),
    Stream("place on earth", lambda i, h: f"{45 + h / 1e4:.6f},{7 + h / 1e4:.6f}", 1e-3),
    Stream("commas only", lambda i, h: f"{h * 1000:.0f},{h * 900 + i % 7:.0f}", 1e-3),
]


def bytes_of(stream: Stream, heights: list[float]) -> bytes:
    """What is heard: it begins within a line and ends within one."""
    text = "".join(stream.line(i, h) + stream.end for i, h in enumerate(heights))
    return text.encode(stream.encoding)[3:-4]


def decoded(found: Recognised, data: bytes) -> list[float]:
    instrument = found.candidates[0].instrument
    assert instrument is not None, found.candidates[0]
    decoder = make_decoder(instrument)
    return [r.height_m for r in decoder.feed(Chunk(0.0, data))]


def is_right(stream: Stream, found: Recognised, data: bytes, heights: list[float]) -> bool:
    if not found.candidates or found.candidates[0].instrument is None:
        return False
    shown = decoded(found, data)
    near = stream.step_m * 0.51 + 1e-9
    rest = iter(heights)
    matched = sum(any(abs(h - s) <= near for h in rest) for s in shown)
    return len(shown) >= 0.8 * (len(heights) - 2) * (0.7 if "turns" in stream.name else 1) and matched == len(shown)


@pytest.mark.parametrize("stream", TELLING, ids=lambda s: s.name)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_stream_that_names_its_unit_is_read_right(stream: Stream, seed: int) -> None:
    heights = [h + stream.shift_m for h in walked(seed)]
    data = bytes_of(stream, heights)
    found = recognise(data)
    assert found.confidence >= 0.5, found.candidates
    assert is_right(stream, found, data, heights), (found.candidates[0], decoded(found, data)[:4], heights[:5])


@pytest.mark.parametrize("stream", UNTELLING, ids=lambda s: s.name)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_stream_that_does_not_tell_is_never_sure(stream: Stream, seed: int) -> None:
    heights = [h + stream.shift_m for h in walked(seed)]
    assert recognise(bytes_of(stream, heights)).confidence < 0.5
