"""Pressure to height: density of what fills the hose, local gravity, and the air for what measures in it.

Temperatures in degrees Celsius, pressures in pascals, densities in kg/m3, heights in metres.
"""

import math
from bisect import bisect_right

STANDARD_GRAVITY = 9.80665
"""m/s2, exact by definition (CGPM 1901)."""
STANDARD_PRESSURE = 101_325.0
DRY_AIR_R = 287.05287
"""Specific gas constant of dry air, J/(kg K): ISO 2533 standard atmosphere."""
ZERO_CELSIUS_K = 273.15

TANAKA = (-3.983035, 301.797, 522528.9, 69.34881, 999.974950)
"""a1 to a5 of Tanaka et al. 2001, Metrologia 38, 301: air-free standard ocean water, 0 to 40 C at 101325 Pa."""

GLYCOL_AT_C = (0.0, 10.0, 20.0, 30.0, 40.0)
GLYCOLS = {
    "propylene": {
        0.2: (1020.08, 1017.86, 1014.78, 1010.91, 1006.37),
        0.3: (1031.56, 1028.04, 1023.78, 1018.89, 1013.43),
        0.4: (1042.35, 1037.62, 1032.27, 1026.40, 1020.06),
        0.5: (1050.94, 1045.26, 1039.06, 1032.41, 1025.37),
    },
    "ethylene": {
        0.1: (1013.62, 1012.52, 1010.58, 1007.84, 1004.35),
        0.2: (1029.06, 1026.94, 1024.10, 1020.58, 1016.40),
        0.3: (1044.97, 1041.81, 1038.05, 1033.70, 1028.80),
        0.4: (1060.39, 1056.39, 1051.86, 1046.84, 1041.35),
        0.5: (1074.62, 1070.02, 1064.93, 1059.39, 1053.44),
    },
}
"""kg/m3 by mass fraction at GLYCOL_AT_C: the correlations of Melinder (IIR 2010), as CoolProp 8.0 gives them."""

EQUATORIAL_GRAVITY = 9.7803253359
SOMIGLIANA_K = 0.00193185265241
ECCENTRICITY_2 = 0.00669437999014
SEMI_MAJOR_M = 6_378_137.0
FLATTENING = 1 / 298.257223563
GRAVITY_RATIO_M = 0.00344978650684
"""WGS 84 (NIMA TR8350.2, equations 4-1 and 4-3)."""


def water_density(t_c: float, *, p_pa: float = STANDARD_PRESSURE, air: bool = False) -> float:
    """Density of water, kg/m3, 0 to 40 C: Tanaka 2001, with compressibility, and dissolved air if `air`.

    Raises ValueError outside 0 to 40 C, where the formula does not hold.
    """
    if not 0.0 <= t_c <= 40.0:
        raise ValueError(f"water density is known from 0 to 40 C, not at {t_c:g} C")
    a1, a2, a3, a4, a5 = TANAKA
    density = a5 * (1 - (t_c + a1) ** 2 * (t_c + a2) / (a3 * (t_c + a4)))
    if air:
        density += -4.612e-3 + 0.106e-3 * t_c
    return density * (1 + (50.74 - 0.326 * t_c + 0.00416 * t_c**2) * 1e-11 * (p_pa - STANDARD_PRESSURE))


def glycol_density(fraction: float, t_c: float, glycol: str = "propylene") -> float:
    """Density of propylene or ethylene glycol in water by mass fraction up to 0.5, kg/m3, 0 to 40 C, interpolated."""
    if not 0.0 <= fraction <= 0.5:
        raise ValueError(f"glycol mixes are known up to a mass fraction of 0.5, not {fraction:g}")
    if not 0.0 <= t_c <= 40.0:
        raise ValueError(f"glycol density is known from 0 to 40 C, not at {t_c:g} C")
    rows = GLYCOLS[glycol]
    fractions = (0.0, *rows)
    upper = min(max(bisect_right(fractions, fraction), 1), len(fractions) - 1)
    low, high = fractions[upper - 1], fractions[upper]
    share = (fraction - low) / (high - low)
    return (1 - share) * _mix(rows.get(low), t_c) + share * _mix(rows.get(high), t_c)


def _mix(row: tuple[float, ...] | None, t_c: float) -> float:
    """Density of a mix by its row of the table; None is pure water."""
    if row is None:
        return water_density(t_c)
    i = min(int(t_c // 10), len(row) - 2)
    share = (t_c - GLYCOL_AT_C[i]) / 10.0
    return row[i] * (1 - share) + row[i + 1] * share


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Normal gravity, m/s2: Somigliana's closed form on WGS 84, continued to `height_m` above the ellipsoid."""
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError(f"a latitude lies between -90 and 90 degrees, not at {latitude_deg:g}")
    sine_2 = math.sin(math.radians(latitude_deg)) ** 2
    surface = EQUATORIAL_GRAVITY * (1 + SOMIGLIANA_K * sine_2) / math.sqrt(1 - ECCENTRICITY_2 * sine_2)
    by_height = 1 + FLATTENING + GRAVITY_RATIO_M - 2 * FLATTENING * sine_2
    return surface * (1 - 2 / SEMI_MAJOR_M * by_height * height_m + 3 * height_m**2 / SEMI_MAJOR_M**2)


def head_m(pressure_pa: float, density: float, gravity: float = STANDARD_GRAVITY) -> float:
    """Height of the column of fluid that a pressure holds up."""
    return pressure_pa / (density * gravity)


def reservoir_factor(tube_area: float, reservoir_area: float) -> float:
    """What a reading of a two-leg system is multiplied by: the reservoir's surface falls as the tube's rises.

    From the conservation of volume: `1 + a/A`; both areas in the same unit.
    """
    if tube_area < 0 or reservoir_area <= 0:
        raise ValueError("areas of tube and reservoir are positive")
    return 1 + tube_area / reservoir_area


def air_height_m(
    pressure_pa: float, *, reference_pa: float = STANDARD_PRESSURE, t_c: float = 15.0, gravity: float = STANDARD_GRAVITY
) -> float:
    """Height above the level where the air pressure is `reference_pa`: hypsometric formula, air at `t_c` throughout.

    Weather moves it by metres in an hour (1 hPa is 8.3 m), so it cannot set out steps. Raises ValueError for a
    pressure that is not positive.
    """
    if pressure_pa <= 0 or reference_pa <= 0:
        raise ValueError("an air pressure is positive")
    return DRY_AIR_R * (t_c + ZERO_CELSIUS_K) / gravity * math.log(reference_pa / pressure_pa)
