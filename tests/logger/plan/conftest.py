"""An invented slope with three risers on it, small enough to work by hand."""

import pytest

from logger.construction import Construction, Layers
from logger.profile import Profile, ProfilePoint
from logger.steps.option import Landing, Option

FALL = 0.02


def profile_of(*points: tuple[float, float]) -> Profile:
    """A profile through stations and heights."""
    return Profile(tuple(ProfilePoint(x, 0.0, z, 0.001) for x, z in points))


@pytest.fixture
def option() -> Option:
    """Rise 0.60 over 2.00 m at 2 %: f = (0.60 - 0.04)/3; tread 0.4, a landing of 1.2 after riser 2, tread 0.4."""
    f = (0.60 - FALL * 2.0) / 3
    stations = (1.0, 1.4, 2.6)
    return Option(
        risers=3,
        treads=2,
        face_m=f,
        nosing_rise_m=f + FALL * 0.4,
        tread_m=0.4,
        fall=FALL,
        landing_fall=FALL,
        depths_m=(0.4, 1.2, 0.4),
        face_stations_m=stations,
        tops_m=tuple(0.1 + (k + 1) * f + FALL * (x - 1.0) for k, x in enumerate(stations)),
        faces_m=(f, f, f),
        landings=(Landing(2, 1.2),),
        foot_m=0.1,
        ground_above_m2=0.0,
        ground_below_m2=0.0,
        fit_m2=0.0,
        step_rule_m=0.8,
    )


@pytest.fixture
def slope() -> Profile:
    return profile_of((0.0, 0.0), (1.0, 0.1), (3.0, 0.7), (4.0, 0.7))


@pytest.fixture
def build() -> Construction:
    return Construction(
        width_m=1.2,
        overhang_m=0.02,
        tread=Layers(cap_m=0.05, unit_m=0.12, bedding_m=0.03, base_m=0.15),
        landing=Layers(unit_m=0.06, bedding_m=0.03, base_m=0.10),
        first=Layers(cap_m=0.05, unit_m=0.12, bedding_m=0.03, base_m=0.15, bury_m=0.08),
    )
