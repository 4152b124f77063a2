"""Quantities other than feet and inches: any unit by its name, slopes, durations.

pint reads the name of a unit and never the number (it reads `3,5` as 35), and is imported only when a unit
outside the table below is named.
"""

import math
import re
from functools import cache
from tokenize import TokenError
from typing import TYPE_CHECKING

from drivers.errors import LengthError
from drivers.lengths import LONGEST, length_m

if TYPE_CHECKING:
    from pint import UnitRegistry

SI = {
    "m": {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "in": 0.0254},
    "Pa": {"Pa": 1.0, "hPa": 100.0, "kPa": 1000.0, "mbar": 100.0, "bar": 100_000.0},
    "s": {"s": 1.0, "ms": 0.001, "min": 60.0, "h": 3600.0},
}
NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
QUANTITY = re.compile(rf"\s*({NUMBER})\s*(\D.*?)?\s*")
PERCENT = re.compile(rf"\s*({NUMBER})\s*%\s*")
ONE_IN = re.compile(rf"\s*1\s*(?::|in\s)\s*({NUMBER})\s*")
NO_NAME = (ArithmeticError, SyntaxError, LookupError, RecursionError, TokenError)
"""What comes of reading as a unit what is none."""
PER = re.compile(r"\s*(.+?)\s*(?:per|/)\s*(1\s*)?(ft|foot|m|metre|meter)\s*")
UNIT = re.compile(r"[^\W\d_](?!.*(?:\*\*|\^)(?:.*(?:\*\*|\^)|\s*\d\d))[\w ./*^°²³·-]{0,39}")
"""A name or a product of names with one small power at most: what is more would be reckoned, without end perhaps."""


@cache
def unit_factor(unit: str, si: str) -> float:
    """How many of the SI unit `si` (`m`, `Pa`, `s`, `K` …) one `unit` is; ValueError if it is another kind."""
    known = SI.get(si, {}).get(unit)
    if known is not None:
        return known
    import pint

    try:
        if UNIT.fullmatch(unit) is None:
            raise ValueError(unit)
        return float(_registry().Quantity(1.0, unit).m_as(si))
    except (pint.PintError, AttributeError, ValueError, TypeError, AssertionError, *NO_NAME):
        raise ValueError(f"{unit!r} is not a unit of {'length' if si == 'm' else si}") from None


def to_si(value: float, unit: str, si: str) -> float:
    """Convert a number with a named unit to the SI unit `si`; ValueError if the name is of another kind."""
    return value * unit_factor(unit, si)


def quantity(text: str, si: str) -> float:
    """Read `0.2 s`, `101.3 kPa` …, in the SI unit `si`; a bare number is taken to be in it."""
    read = QUANTITY.fullmatch(text)
    if read is None:
        raise ValueError(f"{text!r} is not a number with a unit such as {si}")
    value = to_si(float(read[1].replace(",", ".")), read[2] or si, si)
    if not math.isfinite(value):
        raise ValueError(f"{text[:40]!r} is beyond any measure")
    return value


def slope(text: str) -> float:
    """Read a slope as a ratio: `1 %`, `1/8 in per ft`, `1:48`, `1 in 48`, or a bare ratio `0.01`."""
    ratio = _slope(text) if len(text) <= LONGEST else math.inf
    if not math.isfinite(ratio):
        raise LengthError(text[:40], "that is beyond any slope")
    return ratio


def _slope(text: str) -> float:
    if (percent := PERCENT.fullmatch(text)) is not None:
        return _number(percent[1]) / 100
    if (ratio := ONE_IN.fullmatch(text)) is not None:
        run = _number(ratio[1])
        if run == 0:
            raise LengthError(text, "a slope of 1 in 0 is a wall")
        return 1 / run
    if (per := PER.fullmatch(text)) is not None:
        return length_m(per[1]) / length_m(f"1 {'ft' if per[3] in ('ft', 'foot') else 'm'}")
    if re.fullmatch(rf"\s*{NUMBER}\s*", text) is not None:
        return _number(text)
    raise LengthError(text, "write a slope as 1 %, 1/8 in per ft or 1:48")


def _number(text: str) -> float:
    return float(text.strip().replace(",", "."))


@cache
def _registry() -> "UnitRegistry[float]":
    import pint

    return pint.UnitRegistry(cache_folder=None)
