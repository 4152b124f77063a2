"""The guide's straight line through the adjustment: a zero that moves with the temperature, used beyond what was seen."""

import pytest

from logger.observation import Instrument, Kind, Observation, Survey
from logger.reduction.adjustment import adjust
from logger.reduction.points import PointKey

T_C = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTION = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
SCATTER = 0.0035


def test_straight_line_of_the_guide() -> None:
    # JCGM 100:2008, H.3 (inputs from memory, outputs published), one kelvin as one metre: the correction at 30 C is
    # -0.1494 with u 0.0041. The benchmark shows the corrections; a point that shows 0 at 30 C lies that much above.
    seen = [
        Observation(n, Kind.BENCHMARK, 1, 0.0, b, SCATTER, "BM", elevation_m=0.0, temperature_c=t)
        for n, (t, b) in enumerate(zip(T_C, CORRECTION, strict=True), 1)
    ]
    seen.append(Observation(12, Kind.POINT, 1, 0.0, 0.0, 1e-6, "at 30 C", temperature_c=30.0))
    result = adjust(Survey(tuple(seen), instrument=Instrument(drift_u_m_per_h=1.0)))
    found = result.heights[PointKey(Kind.POINT, name="at 30 C")]
    assert found.elevation_m == pytest.approx(0.1494, abs=2e-4)
    assert found.u_m == pytest.approx(0.0041, abs=1.5e-4)
    assert result.fits
