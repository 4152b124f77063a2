"""What the heights of fluid columns rest on, against the published values, and the guide's own examples."""

import math

import numpy as np
import pytest

from drivers.fluid import (
    air_height_m,
    glycol_density,
    head_m,
    normal_gravity,
    reservoir_factor,
    water_density,
)


def test_water_against_iapws() -> None:
    # Tanaka 2001 against IAPWS-95 at 101325 Pa, an independent library.
    from iapws import IAPWS95

    for t_c in (1.0, 4.0, 10.0, 20.0, 30.0, 40.0):
        assert water_density(t_c) == pytest.approx(IAPWS95(T=t_c + 273.15, P=0.101325).rho, abs=0.0013)


def test_a_metre_of_water_calibrated_at_one_temperature_and_used_at_another() -> None:
    # Computed from Tanaka's density: 15 -> 20 C reads long by 0.897 mm, 20 -> 30 C by 2.569 mm.
    for t1, t2, due in ((15, 20, 0.897), (20, 25, 1.163), (20, 30, 2.569), (10, 20, 1.499)):
        assert 1000 * (water_density(t1) / water_density(t2) - 1) == pytest.approx(due, abs=6e-4)


def test_gravity_of_wgs_84() -> None:
    # TR8350.2, table and equation 4-1; the height term at (30 deg, 100 m).
    assert normal_gravity(0) == pytest.approx(9.7803253359, abs=1e-10)
    assert normal_gravity(45) == pytest.approx(9.8061977694, abs=1e-9)
    assert normal_gravity(90) == pytest.approx(9.8321849379, abs=1e-9)
    assert normal_gravity(30, 100) == pytest.approx(9.792938614, abs=1e-8)


def test_air_head_glycol_and_reservoir() -> None:
    assert 1000 * head_m(1.0, water_density(20.0)) == pytest.approx(0.1022, abs=5e-5)
    # 1000 to 900 hPa at 288.15 K: 888.664 m by the hypsometric formula.
    assert air_height_m(90_000, reference_pa=100_000) == pytest.approx(888.664, abs=5e-3)
    # A 30 % propylene glycol fill with a water constant is wrong by 2.56 % at 20 C.
    assert glycol_density(0.3, 20.0) / water_density(20.0) - 1 == pytest.approx(0.0256, abs=5e-5)
    assert reservoir_factor(1.0, 100.0) == 1.01


def test_straight_line_of_the_guide() -> None:
    # JCGM 100:2008, H.3 (inputs from memory, outputs published): y1 -0.1712 (0.0029), y2 0.00218 (0.00067).
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    from logger.observation import Kind, Observation, Survey
    from logger.reduction.adjustment import adjust
    from logger.reduction.points import PointKey

    design = np.stack([np.ones(11), t - 20.0], axis=1)
    spread = np.linalg.inv(design.T @ design)
    y = spread @ design.T @ b
    s = math.sqrt(float(((b - design @ y) ** 2).sum()) / 9)
    assert y == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    assert s * np.sqrt(np.diag(spread)) == pytest.approx([0.0029, 0.00067], abs=5e-5)
    # The same mean of equal readings through the adjustment: u falls by the root of their number.
    seen = [Observation(1, Kind.BENCHMARK, 1, 0.0, 0.0, 1e-6, "BM", elevation_m=0.0)]
    seen += [Observation(2 + i, Kind.STATION, 1, 0.0, float(v), s, tape_m=1.0) for i, v in enumerate(b)]
    height = adjust(Survey(tuple(seen))).heights[PointKey(Kind.STATION, tape_m=1.0)]
    assert height.elevation_m == pytest.approx(float(b.mean()), abs=1e-9)
