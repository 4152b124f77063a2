"""A measured slope walked through a real pseudo-terminal in two protocols, to the same layout."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tui.cli.demo import child

FIRST_M = 0.05
"""The first station of the scanned ground."""
LAYOUT = ["--tread", "0.40 m", "--landing", "1.0 m", "--fall", "1 %", "--grid", "1 cm", "--json"]


def risewalk(*words: str) -> dict[str, object]:
    """What one command prints as JSON."""
    done = subprocess.run([sys.executable, "-m", "tui.cli", *words], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    parsed: dict[str, object] = json.loads(done.stdout)
    return parsed


def walk(ground: Path, protocol: str, session: Path) -> None:
    """Tag every half metre of six metres, with the zero before and after."""
    simulate = ["simulate", "--ground", str(ground), "--speak", protocol, "--rate", "50", "--seed", "3"]
    with child(*simulate) as level:
        hello = level.answer()
        record = ["record", str(session), "--port", str(hello["port"]), "--instrument", str(hello["instrument"])]
        with child(*record) as recorder:
            level.ask(f"at {FIRST_M}")
            recorder.ask("benchmark BM")
            for half_metres in range(13):
                level.ask(f"at {FIRST_M + half_metres / 2}")
                recorder.ask(f"station {half_metres / 2}")
            level.ask(f"at {FIRST_M}")
            recorder.ask("benchmark BM")


@pytest.mark.timeout(300)
@pytest.mark.parametrize("protocol", ["lines", "nmea0183"])
def test_walk_of_a_scanned_slope_yields_its_layout(protocol: str, corpus: Path, tmp_path: Path) -> None:
    ground = corpus / "profiles" / "lonestar_tls_3_10m.csv"
    session = tmp_path / "slope.walk"
    walk(ground, protocol, session)

    profile = risewalk("profile", str(session), "--json")
    rows = csv.DictReader(ground.read_text().splitlines())
    truth = {float(r["station_m"]): float(r["elevation_m"]) for r in rows}
    for point in profile["points"]:
        station = round(FIRST_M + point["station_m"], 3)
        assert point["elevation_m"] == pytest.approx(truth[station] - truth[FIRST_M], abs=max(0.002, 4 * point["u_m"]))
    assert profile["closure"]["status"] == "pass"
    assert risewalk("verify", str(session), "--json")["profile_identical"] is True

    layout = risewalk("steps", str(session), *LAYOUT)
    exact = risewalk("steps", str(ground), "--start", "0.05 m", "--run", "6 m", *LAYOUT)
    assert layout["options"][0]["risers"] == exact["options"][0]["risers"]
