"""Lengths, areas, volumes and amounts in words: in the units of the job first, the other system beside them.

Each is rounded once in each system. A pair holds what to work by and what to compare it with.
"""

from decimal import Decimal

from drivers.lengths import INCH_M, Units, show_length
from logger.catalogue import PER

Pair = tuple[str, str]
SIGNS = {"m2": "m²", "ft2": "ft²", "yd2": "yd²", "m3": "m³", "ft3": "ft³", "yd3": "yd³"}
BESIDE = {
    "m": "ft",
    "ft": "m",
    "yd": "m",
    "m2": "ft2",
    "ft2": "m2",
    "yd2": "m2",
    "m3": "yd3",
    "ft3": "m3",
    "yd3": "m3",
    "kg": "lb",
    "t": "ton",
    "lb": "kg",
    "ton": "t",
}
"""The unit of the other system in which a person would say the same amount."""

FINE = ((0.001, ".1f"), (INCH_M, ".2f"))


def customary(units: Units) -> bool:
    """Whether feet, yards and pounds come first."""
    return units in (Units.FEET_INCHES, Units.FEET)


def other(units: Units) -> Units:
    """The unit system shown beside the first."""
    return Units.MILLIMETRES if customary(units) else Units.FEET_INCHES


def length(value_m: float, units: Units) -> Pair:
    """A length."""
    return show_length(value_m, units), show_length(value_m, other(units))


def fine(value_m: float, units: Units, *, signed: bool = False) -> Pair:
    """A small length to a tenth of a millimetre and a hundredth of an inch; sixteenths are too coarse for it."""
    metric, inches = (_tidy(f"{value_m / size:{'+' if signed else ''}{form}}") for size, form in FINE)
    pair = f"{metric} mm", f"{inches} in"
    return pair[::-1] if customary(units) else pair


def _tidy(figure: str) -> str:
    """A figure that is nothing has no sign."""
    return figure if figure.strip("+-0.") else figure.lstrip("+-")


def area(m2: float, units: Units) -> Pair:
    """An area: square metres and square feet."""
    metric, feet = f"{m2:.2f} m²", f"{m2 / float(PER['ft2'][1]):.1f} ft²"
    return (feet, metric) if customary(units) else (metric, feet)


def volume(m3: float, units: Units) -> Pair:
    """A volume: cubic metres and cubic yards."""
    metric, yards = f"{m3:.2f} m³", f"{m3 / float(PER['yd3'][1]):.2f} yd³"
    return (yards, metric) if customary(units) else (metric, yards)


def amount(value: Decimal, unit: str) -> Pair:
    """An amount in the unit it is counted or sold by; nothing stands beside a count."""
    mine, beside = f"{short(value)} {sign(unit)}", BESIDE.get(unit)
    return (mine, f"{value * PER[unit][1] / PER[beside][1]:.2f} {sign(beside)}") if beside else (mine, "")


def density(kg_per_m3: Decimal, units: Units) -> str:
    """A density in both systems, on one line."""
    metric, pounds = f"{short(kg_per_m3)} kg/m³", f"{kg_per_m3 / PER['lb'][1] * PER['ft3'][1]:.0f} lb/ft³"
    return both((pounds, metric) if customary(units) else (metric, pounds))


def sign(unit: str) -> str:
    """A unit as it is printed."""
    return SIGNS.get(unit, unit)


def both(pair: Pair) -> str:
    """A pair on one line."""
    return f"{pair[0]} ({pair[1]})" if pair[1] else pair[0]


def short(value: Decimal) -> str:
    """A figure without the zeros at its end."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
