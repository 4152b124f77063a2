"""From the number an instrument shows to a height: unit, fluid, sign and offset of its file."""

import math
import re
from dataclasses import dataclass

from drivers.fluid import (
    STANDARD_GRAVITY,
    air_height_m,
    glycol_density,
    head_m,
    normal_gravity,
    reservoir_factor,
    water_density,
)
from drivers.quantities import NUMBER, quantity
from drivers.tables import FluidTable, HeightTable, SiteTable
from drivers.units import unit_of

FARTHEST_M = 20_000.0
"""No height on earth is farther from any zero a person uses."""
AIR_C = (-90.0, 60.0)
"""Air near the ground is never colder or warmer (common practice: somewhat beyond the records)."""
SPAN = re.compile(rf"\s*(?:±\s*)?({NUMBER})\s*(\D.*?)?\s*")
TEMPERATURE = re.compile(rf"\s*({NUMBER})\s*(?:°|deg(?:rees?)?\s*)?([CFK])?\s*", re.IGNORECASE)


def celsius(text: str) -> float:
    """Read a temperature: `15 C`, `15 degC`, `59 F`, `288.15 K`; a bare number is in degrees Celsius."""
    read = TEMPERATURE.fullmatch(text)
    if read is None:
        raise ValueError(f"{text!r} is not a temperature; write 15 C")
    value = float(read[1].replace(",", "."))
    match (read[2] or "C").upper():
        case "F":
            return (value - 32) / 1.8
        case "K":
            return value - 273.15
        case _:
            return value


def density_of(fluid: FluidTable) -> float:
    """Density of what fills the hose, kg/m3; ValueError where it is not known."""
    match fluid.kind:
        case "water":
            return water_density(celsius(fluid.temperature))
        case "glycol":
            return glycol_density(fluid.fraction, celsius(fluid.temperature), fluid.glycol)
        case "density":
            density = quantity(fluid.density, "kg/m**3") if fluid.density else math.nan
            if not 500 <= density <= 3000:
                raise ValueError("give the density, in kg/m3 between 500 and 3000")
            return density
        case "air":
            raise ValueError("air has no one density")


def gravity_of(site: SiteTable) -> float:
    """Local gravity, m/s2: as given, else by latitude, else the standard value."""
    if site.gravity is not None:
        return site.gravity
    return STANDARD_GRAVITY if site.latitude is None else normal_gravity(site.latitude)


@dataclass(frozen=True, slots=True)
class Scale:
    """How numbers become heights: `height = up * scale * number in metres + offset`."""

    unit: str
    up: float
    offset_m: float
    metres_per_pascal: float
    air: tuple[float, float, float] | None
    """Reference pressure, temperature in Celsius and gravity, where the fluid is air."""
    least_m: float
    most_m: float

    def line(self, unit: str = "") -> tuple[float, float] | None:
        """(slope, offset) from a number in this unit to a height in metres; None for a unit that is no height.

        Not for air, which is no straight line: see `height`.
        """
        kind = unit_of(unit or self.unit)
        if kind is None:
            return None
        si, factor = kind
        return self.up * factor * (self.metres_per_pascal if si == "Pa" else 1.0), self.offset_m

    def height(self, number: float, unit: str = "") -> float | None:
        """The height a number in this unit stands for; None for a unit that is no height."""
        if self.air is not None and (kind := unit_of(unit or self.unit)) is not None and kind[0] == "Pa":
            reference_pa, t_c, gravity = self.air
            pressure = number * kind[1]
            if not 0 < pressure < math.inf:
                return math.nan
            shown = air_height_m(pressure, reference_pa=reference_pa, t_c=t_c, gravity=gravity)
            return self.up * shown + self.offset_m
        line = self.line(unit)
        return None if line is None else line[0] * number + line[1]

    def sane(self, height_m: float) -> bool:
        """Whether a height may be one at all; false for NaN."""
        return self.least_m <= height_m <= self.most_m

    def span_m(self, text: str) -> float:
        """Read a length or pressure of the file as a difference of heights, without sign; bare in the file's unit."""
        read = SPAN.fullmatch(text)
        if read is None:
            raise ValueError(f"{text!r} is not a number with a unit such as mm")
        kind = unit_of(read[2] or self.unit)
        if kind is None:
            raise ValueError(f"{read[2]!r} is neither a length nor a pressure")
        span = float(read[1].replace(",", ".")) * kind[1] * (self.metres_per_pascal if kind[0] == "Pa" else 1.0)
        if not abs(span) <= FARTHEST_M:
            raise ValueError(f"{text[:40]!r} is farther than anything on earth")
        return span


def _two_legs(fluid: FluidTable) -> float:
    """What a reading in one leg is worth, the surface in the other falling meanwhile; 1 where it is not told."""
    if not fluid.tube and not fluid.reservoir:
        return 1.0
    if not (fluid.tube and fluid.reservoir):
        raise ValueError("give the inner widths of both, tube and reservoir")
    return reservoir_factor(quantity(fluid.tube, "m") ** 2, quantity(fluid.reservoir, "m") ** 2)


def scale_of(height: HeightTable, fluid: FluidTable | None, site: SiteTable | None) -> Scale:
    """The scale of an instrument file; ValueError where it contradicts itself."""
    kind = unit_of(height.unit)
    if kind is None:
        raise ValueError(f"{height.unit!r} is neither a length nor a pressure")
    fluid, gravity = fluid or FluidTable(), gravity_of(site or SiteTable())
    air = None
    if fluid.kind == "air":
        reference, t_c = quantity(fluid.reference, "Pa"), celsius(fluid.temperature)
        if not AIR_C[0] <= t_c <= AIR_C[1]:
            raise ValueError(f"air is between {AIR_C[0]:g} and {AIR_C[1]:g} C, not at {t_c:g} C")
        air = (reference, t_c, gravity)
        metres_per_pascal = air_height_m(reference - 0.5, reference_pa=reference + 0.5, t_c=t_c, gravity=gravity)
    else:
        metres_per_pascal = head_m(1.0, density_of(fluid), gravity)
    bare = Scale(height.unit, 1.0, 0.0, metres_per_pascal, None, -FARTHEST_M, FARTHEST_M)
    least_m = bare.span_m(height.least) if height.least else -FARTHEST_M
    most_m = bare.span_m(height.most) if height.most else FARTHEST_M
    if least_m >= most_m:
        raise ValueError(f"no height is between least {height.least} and most {height.most}")
    return Scale(
        height.unit,
        height.up * height.scale * _two_legs(fluid),
        bare.span_m(height.offset),
        metres_per_pascal,
        air,
        least_m,
        most_m,
    )
