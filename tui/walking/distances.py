"""Distances and heights as the screen writes them: short for lists, with a sign for heights above the zero."""

from fractions import Fraction

from drivers.lengths import FOOT_M, INCH_M, Units, show_length
from logger.observation import COVERAGE

SIXTEENTH_M = INCH_M / 16


def distance(value_m: float, units: Units) -> str:
    """A distance along the line, as short as it can be written without rounding what was typed.

    It is also how a suggested distance is sent to the recorder, unit included.
    """
    if units is Units.FEET_INCHES:
        if value_m < 0:
            return f"-{distance(-value_m, units)}"
        feet, rest = divmod(Fraction(round(value_m / SIXTEENTH_M), 16), 12)
        if not rest:
            return f"{feet} ft"
        return f"{feet} ft {_mixed(rest)} in" if feet else f"{_mixed(rest)} in"
    if units is Units.FEET:
        return f"{_short(value_m / FOOT_M, 2)} ft"
    if units is Units.MILLIMETRES:
        return f"{_short(value_m * 1000, 0)} mm"
    return f"{_short(value_m, 3)} m"


def inches(value_m: float) -> str:
    """A length in inches and sixteenths without a unit mark: `7 3/8`."""
    return _mixed(Fraction(round(value_m / SIXTEENTH_M), 16))


def _mixed(value: Fraction) -> str:
    whole, part = divmod(value, 1)
    return " ".join(str(p) for p in (whole, part) if p) or "0"


def _short(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def height(value_m: float, units: Units) -> str:
    """A height above the zero with its sign."""
    text = show_length(value_m, units)
    return text if text.startswith("-") or not any(c in "123456789" for c in text) else f"+{text}"


def give_or_take(u_m: float | None, units: Units) -> str:
    """A standard uncertainty as people are shown it, at 95 %, rounded up to what the unit can show."""
    if u_m is None:
        return "± not known"
    u95_m = COVERAGE * u_m
    if units is Units.FEET_INCHES:
        return "±" + inches(max(1, -(-u95_m // SIXTEENTH_M)) * SIXTEENTH_M) + '"'
    if units is Units.FEET:
        return f"±{max(0.01, -(-u95_m // (FOOT_M / 100)) / 100):.2f} ft"
    return f"±{max(0.1, u95_m * 1000):.1f} mm"


def ago(seconds: float) -> str:
    """How long ago: `now`, or `5 min ago`."""
    return "now" if seconds < 1 else f"{lasted(seconds)} ago"


def lasted(seconds: float) -> str:
    """A time as short as can be: `5 min`."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    if seconds < 3600:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
