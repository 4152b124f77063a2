"""The real BlueZ in a virtual machine; `tests/vm/prepare.sh`, then `python -m pytest -m vm tests/vm`."""

import json
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from machine import Machine, inside, missing

pytestmark = [pytest.mark.vm, pytest.mark.timeout(600)]


@pytest.fixture(scope="module")
def findings(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """What the machine found on one boot."""
    if lacking := missing():
        pytest.skip(lacking)
    folder = tmp_path_factory.mktemp("machine")
    console = Machine(folder).run(inside(Path(__file__).parent / "walk_inside.py"), within_s=500)
    told = [json.loads(line[6:]) for line in console.splitlines() if line.startswith("FOUND ")]
    assert told, console[-4000:]
    print(console[-20000:])
    return told


def of(findings: list[dict[str, Any]], name: str) -> Any:
    return next(f for f in findings if name in f)


def test_it_advertises(findings: list[dict[str, Any]]) -> None:
    (heard,) = of(findings, "ports")["ports"]["advertising"]
    assert (heard["name"], heard["address"], heard["services"]) == ("BENCH LEVEL", "C4:F2:17:1A:1D:AA", ["181a"])
    assert "ble-elevation" in heard["instruments"]


def test_ten_a_second_without_one_lost_or_doubled(findings: list[dict[str, Any]]) -> None:
    counted = of(findings, "counted")["counted"]
    assert len(counted) >= 60
    assert counted == list(range(counted[0], counted[0] + len(counted)))


def test_losses_are_noticed_and_the_link_comes_back(findings: list[dict[str, Any]]) -> None:
    assert not [f for f in findings if "stuck" in f]
    assert of(findings, "hang_up_noticed_s")["hang_up_noticed_s"] < 2
    assert of(findings, "silence_noticed_s")["silence_noticed_s"] < 8
    assert of(findings, "kill_noticed_s")["kill_noticed_s"] < 8
    assert all(f["back_s"] < 40 for f in findings if "back_s" in f)


def test_every_tagged_station_is_there_once(findings: list[dict[str, Any]]) -> None:
    assert all(f["answer"]["ok"] for f in findings if "tag" in f)
    points = of(findings, "profile")["profile"]["points"]
    shown = [(p["station_m"], round(p["elevation_m"], 6), p["observations"]) for p in points if p["station_m"]]
    assert shown == [(1.0, 0.2, 1), (2.0, 0.4, 1), (3.0, 0.6, 1)]
    assert of(findings, "verify")["verify"]["profile_identical"] is True


def test_the_device_is_let_go_at_the_end(findings: list[dict[str, Any]]) -> None:
    assert of(findings, "ended")["ended"] == 0
    assert of(findings, "still_connected")["still_connected"] == ""
