"""Lengths and counts in the words of a brief: the units it was written in."""

import math
from dataclasses import dataclass
from functools import lru_cache

from drivers.lengths import FOOT_M, INCH_M, Units, show_length, show_station

ALREADY = 1e-6
"""Part of the last shown digit that is no reason to round further."""


@dataclass(frozen=True, slots=True)
class Words:
    """How one brief is spoken to."""

    units: Units

    def length(self, value_m: float) -> str:
        """A length, to a sixteenth of an inch or a millimetre."""
        return show_length(value_m, self.units)

    def small(self, value_m: float) -> str:
        """A length under a step's height, to a thirty-second of an inch or a tenth of a millimetre."""
        return _small(value_m, self.units)

    def rounded(self, value_m: float, *, up: bool, small: bool = False) -> float:
        """A length as it is shown, rounded one way: what a person types must hold."""
        shown_m = {
            Units.FEET_INCHES: INCH_M / (32 if small else 16),
            Units.FEET: FOOT_M / 100,
        }.get(self.units, 0.0001 if small else 0.001)
        count = value_m / shown_m
        return (math.ceil(count - ALREADY) if up else math.floor(count + ALREADY)) * shown_m

    def fine(self, value_m: float) -> str:
        """A length where the last shown digit of the others would not tell two apart."""
        if self.units in (Units.FEET_INCHES, Units.FEET):
            return f"{value_m / INCH_M:.4f} in"
        return f"{value_m * 1000:.2f} mm"

    def pair(self, value_m: float, limit_m: float) -> tuple[str, str]:
        """Two lengths so that they read as different where they are."""
        shown = self.small(value_m), self.small(limit_m)
        return shown if shown[0] != shown[1] else (self.fine(value_m), self.fine(limit_m))

    def station(self, value_m: float) -> str:
        """A distance along the line."""
        return show_station(value_m, self.units)


@lru_cache(maxsize=4096)
def _small(value_m: float, units: Units) -> str:
    if units is Units.FEET_INCHES:
        return show_length(value_m, units, sixteenths=32).removeprefix("0'-").removeprefix("0 ")
    return show_length(value_m, units) if units is Units.FEET else f"{value_m * 1000:.1f} mm"


def counted(number: int, thing: str) -> str:
    """`1 riser`, `12 risers`."""
    return f"{number} {thing}" + ("" if number == 1 else "s")
