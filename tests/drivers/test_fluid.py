"""Densities, gravity and air against published values and an independent library."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95

from drivers.fluid import (
    STANDARD_GRAVITY,
    air_height_m,
    glycol_density,
    head_m,
    normal_gravity,
    reservoir_factor,
    water_density,
)

TANAKA = {
    0: 999.8428,
    4: 999.9749,
    5: 999.9668,
    10: 999.7027,
    15: 999.1026,
    20: 998.2067,
    25: 997.0470,
    30: 995.6488,
    35: 994.0326,
    40: 992.2152,
}
"""Evaluated apart from the formula of Tanaka et al., Metrologia 38 (2001) 301."""


@pytest.mark.parametrize(("t_c", "density"), TANAKA.items())
def test_water_by_the_recommended_formula(t_c: int, density: float) -> None:
    assert water_density(t_c) == pytest.approx(density, abs=6e-5)


@pytest.mark.parametrize("t_c", [0.5, 5, 12, 20, 31, 39.5])
def test_water_agrees_with_iapws_95(t_c: float) -> None:
    assert water_density(t_c) == pytest.approx(IAPWS95(T=t_c + 273.15, P=0.101325).rho, abs=0.0015)


def test_water_maximum_of_another_experiment() -> None:
    # Metrologia abstract of 2016: 998.9468 kg/m3 at 16 C; the maximum is 999.9756 +- 0.0008 near 4 C.
    assert water_density(16.0) == pytest.approx(998.9468, abs=0.004)
    assert max(water_density(t / 100) for t in range(300, 500)) == pytest.approx(999.9756, abs=0.0008)


def test_water_under_pressure_is_denser_as_iapws_says() -> None:
    deep = water_density(15.0, p_pa=201_325.0)
    assert deep - water_density(15.0) == pytest.approx(
        IAPWS95(T=288.15, P=0.201325).rho - IAPWS95(T=288.15, P=0.101325).rho, rel=0.02
    )


def test_dissolved_air_makes_water_a_little_lighter() -> None:
    assert water_density(10.0, air=True) - water_density(10.0) == pytest.approx(-0.003552, abs=1e-6)


def test_a_head_of_a_metre_read_at_another_temperature() -> None:
    # Computed from the densities: a 1 m head calibrated at 15 C and used at 20 C reads 0.897 mm long.
    assert (water_density(15) / water_density(20) - 1) * 1000 == pytest.approx(0.897, abs=0.001)


@pytest.mark.parametrize(
    ("fraction", "t_c", "density"),
    # Melinder's correlations through a general property library.
    [(0.2, 0, 1020.08), (0.3, 20, 1023.78), (0.4, 30, 1026.40), (0.5, 40, 1025.37)],
)
def test_glycol_at_the_points_of_the_table(fraction: float, t_c: float, density: float) -> None:
    assert glycol_density(fraction, t_c) == pytest.approx(density, abs=1e-9)


@pytest.mark.parametrize(
    ("fraction", "density"),
    # Aqueous ethylene glycol at 20 C, handbook table of concentrative properties (from memory): good to 1 kg/m3.
    [(0.1, 1010.8), (0.2, 1024.1), (0.3, 1037.8), (0.4, 1051.4)],
)
def test_ethylene_glycol_beside_a_handbook(fraction: float, density: float) -> None:
    assert glycol_density(fraction, 20.0, "ethylene") == pytest.approx(density, abs=1.0)


@pytest.mark.parametrize(
    ("fraction", "t_c", "density"),
    # Melinder's correlations through CoolProp 8.0 (INCOMP::MEG), between the points of the table.
    [(0.25, 15, 1032.79), (0.35, 5, 1051.06), (0.45, 25, 1055.92), (0.15, 35, 1012.35)],
)
def test_ethylene_glycol_between_the_points(fraction: float, t_c: float, density: float) -> None:
    assert glycol_density(fraction, t_c, "ethylene") == pytest.approx(density, abs=0.3)


@pytest.mark.parametrize("glycol", ["propylene", "ethylene"])
@given(st.floats(0, 0.5), st.floats(0, 40))
def test_glycol_between_the_points_stays_between_them(glycol: str, fraction: float, t_c: float) -> None:
    assert 992.0 < glycol_density(fraction, t_c, glycol) < 1075.0
    assert glycol_density(0.0, t_c, glycol) == water_density(t_c) or 10 * (t_c // 10) != t_c


def test_glycol_read_as_water_is_wrong_by_what_is_published() -> None:
    assert glycol_density(0.3, 20) / water_density(20) - 1 == pytest.approx(0.0256, abs=1e-4)


@pytest.mark.parametrize(
    ("latitude", "gravity"),
    # NIMA TR8350.2: equator, 45 degrees, pole; 30 and 60 computed with its constants.
    [(0, 9.7803253359), (30, 9.7932472692), (45, 9.8061977694), (60, 9.8191769531), (90, 9.8321849379)],
)
def test_normal_gravity_of_wgs_84(latitude: float, gravity: float) -> None:
    assert normal_gravity(latitude) == pytest.approx(gravity, abs=2e-10)
    assert normal_gravity(-latitude) == normal_gravity(latitude)


def test_normal_gravity_falls_with_height() -> None:
    # Published examples: 30 degrees and 100 m, 10 degrees and 1000 m.
    assert normal_gravity(30, 100) == pytest.approx(9.792938614, abs=1e-9)
    assert normal_gravity(10, 1000) == pytest.approx(9.778795563, abs=5e-9)


def test_a_pascal_of_water() -> None:
    assert head_m(1.0, 998.2067) * 1000 == pytest.approx(0.1022, abs=5e-5)
    assert head_m(998.2067 * STANDARD_GRAVITY, 998.2067) == pytest.approx(1.0)


def test_air_by_the_hypsometric_formula() -> None:
    # ISO 2533: 1000 to 900 hPa at 288.15 K is 888.664 m; 1.25 hPa at sea level is 10.412 m.
    assert air_height_m(90_000, reference_pa=100_000) == pytest.approx(888.664, abs=0.001)
    assert air_height_m(101_200) == pytest.approx(10.412, abs=0.001)


def test_air_layer_by_layer_is_the_standard_atmosphere() -> None:
    # ISO 2533, geopotential height and pressure; in a layer whose temperature falls steadily the air counts with the
    # logarithmic mean of its ends, 6.5 K a kilometre.
    table = {
        0: 101325.000, 10: 101204.926, 100: 100129.438, 500: 95460.835, 1000: 89874.563, 1500: 84555.994,
        2000: 79495.202, 5000: 54019.888, 11000: 22632.040,
    }  # fmt: skip
    for (low, below), (high, above) in pairwise(table.items()):
        warm, cold = 288.15 - 0.0065 * low, 288.15 - 0.0065 * high
        t_c = (warm - cold) / math.log(warm / cold) - 273.15
        assert air_height_m(above, reference_pa=below, t_c=t_c) == pytest.approx(high - low, abs=0.001)


def test_a_reservoir_falls_as_the_tube_rises() -> None:
    assert reservoir_factor(1.0, 100.0) == pytest.approx(1.01)
    with pytest.raises(ValueError, match="positive"):
        reservoir_factor(1.0, 0.0)


@pytest.mark.parametrize("t_c", [-0.1, 40.1, math.nan])
def test_outside_the_formula_nothing_is_guessed(t_c: float) -> None:
    with pytest.raises(ValueError, match="0 to 40"):
        water_density(t_c)
