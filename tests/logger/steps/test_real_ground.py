"""Layouts on measured ground equal a general solver (HiGHS)."""

import csv
from pathlib import Path
from types import ModuleType

import pytest

from logger.profile import Profile, ProfilePoint
from logger.steps.brief import brief_of
from logger.steps.solve import solve

NAMES = [
    "autzen_bmx_2010_25m",
    "lonestar_tls_1_6m",
    "lonestar_tls_3_10m",
    "sinsinawa_bank_xs1_20m",
    "sinsinawa_bank_xs2_20m",
]


def steepest(points: list[tuple[float, float]], length: float) -> list[tuple[float, float]]:
    """The stretch of about this length that climbs most, turned so that it climbs."""

    def rise(i: int) -> float:
        j = max(k for k in range(i, len(points)) if points[k][0] <= points[i][0] + length)
        return points[j][1] - points[i][1]

    turned = [(points[-1][0] - x, z) for x, z in reversed(points)]
    best: list[tuple[float, float]] = []
    for line in (points, turned):
        points = line
        i = max(range(len(points)), key=rise)
        part = [(x - points[i][0], z) for x, z in points if points[i][0] <= x <= points[i][0] + length]
        if not best or part[-1][1] - part[0][1] > best[-1][1] - best[0][1]:
            best = part
    return best


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("flight", [0, 4])
def test_measured_ground(name: str, flight: int, corpus: Path, oracle: ModuleType) -> None:
    with (corpus / "profiles" / f"{name}.csv").open() as file:
        points = [(float(r["station_m"]), float(r["elevation_m"])) for r in csv.DictReader(file)]
    ground = steepest(points, 6.0)
    profile = Profile(tuple(ProfilePoint(x, 0.0, z, 0.0) for x, z in ground))
    fields: dict[str, object] = {"tread": "0.35 m", "landing": "1.05 m", "grid": "5 cm", "flight_risers": flight}
    fields |= {"run": f"{ground[-1][0] // 0.05 * 0.05!r} m", "riser_min": "6 cm", "riser_max": "25 cm"}
    options = solve(profile, brief_of({}, fields))
    assert options.options, options.refused
    for option in options.options[:3]:
        case = oracle.Case(
            ground=ground, start=0.0, run=options.run_m, rise=options.rise_m, foot=ground[0][1], n=option.risers,
            grid=0.05, tread=7, landing=21, p=0.01, q=0.01, most=flight,
        )  # fmt: skip
        assert option.fit_m2 == pytest.approx(oracle.general_solver(case), abs=1e-9)
