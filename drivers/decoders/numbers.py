"""Numbers as instruments write them in text: decimal commas, thousands, signs behind, hexadecimal, feet and inches."""

import math
import re
from collections.abc import Callable

from drivers.lengths import ALIKE, LONGEST
from drivers.units import LENGTHS

PLAIN_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
"""Digits of other scripts are no numbers: two bytes of noise can make one."""
GROUPED = re.compile(r"\d{1,3}(?:([,.'])\d{3})(?:\1\d{3})*(?!\1)[.,]\d+|\d{1,3}(?:'\d{3})+")
HEX = re.compile(r"[+-]?(?:0[xX])?[0-9a-fA-F]{1,16}")
SPACES = str.maketrans("−’", "-'", " \u00a0\u202f")
MINUS = "-−–"


def _words(size_m: float) -> str:
    """The words of a unit as alternatives of a pattern, longest first."""
    return "|".join(sorted((re.escape(w) for w, m in LENGTHS.items() if m == size_m and w.isalpha()), key=len)[::-1])


FEET = rf"['′’]|(?:{_words(LENGTHS['ft'])})(?![^\W\d_])\.?"
INCHES = rf"''|[\"″”]|(?:{_words(LENGTHS['in'])})(?![^\W\d_])\.?"
FEET_INCHES = re.compile(
    rf"(?P<sign>[+-])?\s*(?:(?P<feet>[0-9]+(?:[.,][0-9]+)?)\s*(?:{FEET})[\s,-]*)?"
    rf"(?:(?P<inches>[0-9]+(?:[.,][0-9]+)?)(?![0-9/]))?(?:[\s-]*(?P<top>[0-9]+)/(?P<bottom>[0-9]+))?\s*(?:{INCHES})?",
    re.IGNORECASE,
)

ReadNumber = Callable[[str], float]


def number(text: str, thousands: str = "") -> float:
    """A number as devices write it: decimal comma, blanks after the sign, sign behind; NaN if it is none.

    `thousands` is what stands between thousands; without it only groups that cannot be read otherwise are taken so.
    """
    plain = text.translate(SPACES)
    if plain[-1:] in ("-", "+"):
        plain = plain[-1] + plain[:-1]
    if thousands:
        plain = plain.replace(thousands, "")
    elif (grouped := GROUPED.fullmatch(plain.lstrip("+-"))) is not None:
        plain = plain.replace(grouped[1] or "'", "")
    if "," in plain:
        plain = plain.replace(",", ".")
    return float(plain) if PLAIN_NUMBER.fullmatch(plain) else math.nan


def hex_number(bits: int | None) -> ReadNumber:
    """A reader of hexadecimal numbers, two's complement, and then without a sign, if `bits` says how wide."""

    def read(text: str) -> float:
        if HEX.fullmatch(text.strip()) is None:
            return math.nan
        value = int(text, 16)
        if bits is None:
            return float(value)
        if not 0 <= value < 1 << bits:
            return math.nan
        return float(value - (1 << bits) if value >> (bits - 1) else value)

    return read


def feet_inches(text: str) -> float:
    """Inches in `4'-3 1/4"`, `4 ft 3.25 in`, `75 3/4`, `3/8"` and the like; NaN for what is none of these."""
    written = text.strip().translate(ALIKE).replace("''", '"').strip()
    read = FEET_INCHES.fullmatch(written) if len(written) <= LONGEST else None
    if read is None or not (read["feet"] or read["inches"] or read["top"]):
        return math.nan
    feet, inches = (float((read[name] or "0").replace(",", ".")) for name in ("feet", "inches"))
    top, bottom = int(read["top"] or 0), int(read["bottom"] or 1)
    rest = bool(read["inches"] or read["top"])
    if not top <= bottom or bottom == 0 or (top and inches % 1) or (rest and feet % 1):
        return math.nan
    total = 12 * feet + inches + top / bottom
    return -total if read["sign"] == "-" else total
