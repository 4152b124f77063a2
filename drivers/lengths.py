"""Lengths as people write and read them; inside the program every length is a float in metres.

Feet, inches and fractions go through an exact grammar of our own, because general unit libraries read
`75 3/4 in` as a product. Every other unit is looked up by its name in `drivers.quantities`.
"""

import math
import re
from enum import StrEnum
from fractions import Fraction

from drivers.errors import LengthError

INCH_M = 0.0254
FOOT_M = 0.3048
LONGEST = 60
"""Characters of a length or slope at most; what is longer is no measure, and may take for ever to refuse."""
STATION_UNITS = 100
"""One full station is 100 of the unit in use: `1+25` is 125."""

EXACT_M = {"m": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000)}
FEET = {"ft", "foot", "feet", "'"}
INCHES = {"in", "inch", "inches", '"'}
INCH = Fraction(254, 10000)
FOOT = 12 * INCH

NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?"
FRACTION = r"\d+/\d+"
FEET_MARK = r"(?:ft|foot|feet|')\.?"
INCH_MARK = r"(?:inches|inch|in|\")\.?"
FEET_AND_INCHES = re.compile(
    rf"(?:(?P<feet>{NUMBER})\s*{FEET_MARK}(?:-\s*|\s+-\s+|\s*))?"
    rf"(?:(?:(?P<inches>{NUMBER})(?:(?:\s+|\s*-\s*)(?P<part>{FRACTION}))?|(?P<only>{FRACTION}))\s*{INCH_MARK})?"
)
STATION = re.compile(r"(?P<full>\d+)\+(?P<rest>\d\d(?:\.\d*)?)\s*(?P<unit>[^\d\s].*)?")
PLAIN = re.compile(rf"(?P<number>{NUMBER})\s*(?P<unit>[^\d\s.+-].*)?")
COMMA = re.compile(r"(?<![\d.,])(\d+),(\d+)(?![\d.,])")
VULGAR = {
    c: f" {n}/{d}"
    for c, n, d in (("½", 1, 2), ("¼", 1, 4), ("¾", 3, 4), ("⅛", 1, 8), ("⅜", 3, 8), ("⅝", 5, 8), ("⅞", 7, 8))
}
ALIKE = str.maketrans({"′": "'", "’": "'", "″": '"', "”": '"', "−": "-", "–": "-", "⁄": "/", "\u00a0": " "} | VULGAR)


class Units(StrEnum):
    """How lengths are shown, and what a bare number means: feet for the first two."""

    FEET_INCHES = "ft-in"
    FEET = "ft"
    METRES = "m"
    MILLIMETRES = "mm"

    @property
    def bare_unit(self) -> str:
        """The unit a number without one is in."""
        return "ft" if self is Units.FEET_INCHES else self.value


def length_m(text: str, units: Units = Units.METRES) -> float:
    """Read a length a person wrote, in metres; a bare number is in `units`.

    Accepts `12.5`, `3,5 m`, `12 ft 6 in`, `6'-3 3/4"`, `75 3/4 in`, `1+25` and any unit of length by name.
    Raises LengthError for anything that could be read in two ways or not at all.
    """
    written = text.strip().translate(ALIKE).strip()
    if not written or len(written) > LONGEST:
        raise LengthError(text[:LONGEST], "write a length such as 3.5 m or 12 ft 6 in")
    sign, body = (-1, written[1:].lstrip()) if written[0] == "-" else (1, written.removeprefix("+").lstrip())
    body = _with_points(text, body)
    if (station := STATION.fullmatch(body)) is not None:
        count = int(station["full"]) * STATION_UNITS + Fraction(station["rest"].rstrip("."))
        return _in_metres(text, sign * count, station["unit"] or units.bare_unit)
    if (parts := FEET_AND_INCHES.fullmatch(body)) is not None and body:
        return float(sign * _feet_inches(text, parts))
    if (plain := PLAIN.fullmatch(body)) is not None:
        return _in_metres(text, sign * Fraction(plain["number"]), plain["unit"] or units.bare_unit)
    raise LengthError(text, _why_not(body))


def show_length(value_m: float, units: Units = Units.METRES, *, sixteenths: int = 16) -> str:
    """Write a length for people, rounded once: `6'-3 3/4"`, `6.31 ft`, `1.924 m` or `1924 mm`.

    `sixteenths` is the denominator of the smallest part of an inch shown. Raises LengthError for NaN.
    """
    if not math.isfinite(value_m):
        raise LengthError(str(value_m), "it is not a finite number")
    match units:
        case Units.FEET_INCHES:
            return _show_feet_inches(value_m, sixteenths)
        case Units.FEET:
            return _unsigned_zero(f"{value_m / FOOT_M:.2f}") + " ft"
        case Units.METRES:
            return _unsigned_zero(f"{value_m:.3f}") + " m"
        case Units.MILLIMETRES:
            return _unsigned_zero(f"{value_m * 1000:.0f}") + " mm"


def show_station(value_m: float, units: Units = Units.METRES) -> str:
    """Write a distance along the line as a station: full hundreds, a plus, the rest."""
    places, unit_m = (2, FOOT_M) if units in (Units.FEET, Units.FEET_INCHES) else (3, 1.0)
    count = round(abs(value_m) / unit_m, places)
    full = int(count // STATION_UNITS)
    sign = "-" if value_m < 0 and count else ""
    return f"{sign}{full}+{count - full * STATION_UNITS:0{places + 3}.{places}f}"


def _with_points(text: str, body: str) -> str:
    """Turn a decimal comma into a point, refusing a comma that may be a thousands mark."""
    comma = COMMA.search(body)
    if comma is None:
        return body
    if len(comma[2]) == 3 and not comma[1].startswith("0"):
        raise LengthError(text, f"the comma may mean thousands; write {comma[1]}.{comma[2]} or {comma[1]}{comma[2]}")
    return COMMA.sub(r"\1.\2", body)


def _feet_inches(text: str, parts: re.Match[str]) -> Fraction:
    feet, inches, fraction = parts["feet"], parts["inches"], parts["part"] or parts["only"]
    total = Fraction(0)
    if feet is not None:
        if (inches or fraction) and Fraction(feet).denominator != 1:
            raise LengthError(text, "decimal feet and inches together; write one or the other")
        total += Fraction(feet) * FOOT
    whole = Fraction(inches) if inches else Fraction(0)
    if fraction is not None:
        if whole.denominator != 1:
            raise LengthError(text, "decimal inches and a fraction together; write one or the other")
        whole += _proper(text, fraction)
    if feet is not None and whole >= 12:
        raise LengthError(text, "12 inches or more beside feet; carry them into the feet")
    return total + whole * INCH


def _proper(text: str, fraction: str) -> Fraction:
    top, bottom = (int(n) for n in fraction.split("/"))
    if bottom not in (2, 4, 8, 16, 32, 64):
        raise LengthError(text, f"{fraction} is not on a tape; use halves down to sixty-fourths")
    if not 0 < top < bottom:
        raise LengthError(text, f"{fraction} is not a proper fraction of an inch")
    return Fraction(top, bottom)


def _in_metres(text: str, count: Fraction, unit: str) -> float:
    name = unit.strip()
    if name in EXACT_M:
        value = float(count * EXACT_M[name])
    elif name in FEET or name in INCHES:
        value = float(count * (FOOT if name in FEET else INCH))
    else:
        from drivers.quantities import to_si

        try:
            value = to_si(float(count), name, "m")
        except ValueError as error:
            raise LengthError(text, _why_not(text) if re.search(r"\d", name) else str(error)) from None
    if not math.isfinite(value):
        raise LengthError(text, "it is not a finite number")
    return value


def _why_not(body: str) -> str:
    if re.fullmatch(r".*\d\s*(?:'|ft|feet)[\s\d./-]+", body):
        return "a mark is missing after the inches; write 6'-3 3/4\""
    if "/" in body:
        return "write fractions of an inch as 3 3/4 in or 6'-3 3/4\""
    return "write it as 3.5 m, 12 ft 6 in, 75 3/4 in or 1+25"


def _show_feet_inches(value_m: float, smallest: int) -> str:
    total = round(abs(Fraction(value_m)) / INCH * smallest)
    inches, part = divmod(total, smallest)
    feet, inches = divmod(inches, 12)
    fraction = Fraction(part, smallest)
    sign = "-" if value_m < 0 and total else ""
    return f"{sign}{feet}'-{inches}{f' {fraction}' if part else ''}\""


def _unsigned_zero(number: str) -> str:
    return number.removeprefix("-") if not number.strip("-0.") else number
