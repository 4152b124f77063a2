"""`simulate`, `listen` and `instruments` as their users run them: real processes, a real pseudo-terminal."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tui.cli.demo import child

COMMAND = [sys.executable, "-m", "tui.cli"]


@pytest.fixture
def ground(tmp_path: Path) -> Path:
    path = tmp_path / "ground.csv"
    path.write_text("station_m,elevation_m\n0,0.5\n10,2.5\n")
    return path


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *words], capture_output=True, text=True, timeout=60, stdin=subprocess.DEVNULL)


def test_moves_are_answered_and_heard(ground: Path) -> None:
    with child("simulate", "--ground", str(ground), "--speak", "lines", "--rate", "50", "--noise", "0.1 mm") as level:
        hello = level.answer()
        assert level.ask("at 5")["height_m"] == pytest.approx(1.5)
        assert level.ask("point BM 2 ft")["height_m"] == pytest.approx(0.6096)
        for line in ("shift", "noise 0 mm", "temperature 20", "unplug", "replug", "point BM", "at 10 ft"):
            assert level.ask(line)["ok"] is True
        level.stdin.write("at 99\n")
        assert level.answer()["ok"] is False
        heard = run("listen", str(hello["port"]), "--seconds", "1.5", "--json")
        assert heard.returncode == 0, heard.stderr
        document = json.loads(heard.stdout)
        assert document["confidence"] >= 0.5
        assert document["instrument"]["height"]["unit"] == "in"
        assert document["bytes"] > 0
        assert len(document["readings"]) > 30
        assert {"height_m", "at"} <= set(document["readings"][0])
        known = run("listen", str(hello["port"]), "--seconds", "1", "--json", "--instrument", str(hello["instrument"]))
        assert len(json.loads(known.stdout)["readings"]) > 20
        level.ask("quit")


def test_a_silent_port_is_not_identified(ground: Path) -> None:
    with child("simulate", "--ground", str(ground), "--speak", "modbus") as level:
        heard = run("listen", str(level.answer()["port"]), "--seconds", "0.5", "--json")
        level.ask("quit")
    document = json.loads(heard.stdout)
    assert (heard.returncode, document["bytes"], document["instrument"], document["confidence"]) == (0, 0, None, 0.0)


def test_a_missing_port_and_a_wrong_ground(tmp_path: Path) -> None:
    assert run("listen", "/dev/ttyUSB77", "--seconds", "0.5").returncode == 3
    bad = tmp_path / "bad.csv"
    bad.write_text("station_m,elevation_m\n0,nan\n0,x\n")
    done = run("simulate", "--ground", str(bad))
    assert done.returncode == 4
    assert "line 2" in done.stderr
    assert "line 3" in done.stderr


def test_instruments_are_listed_shown_and_checked(tmp_path: Path) -> None:
    listed = json.loads(run("instruments", "--json").stdout)["instruments"]
    assert {"ascii-lines", "nmea-displacement", "modbus-float"} <= {row["name"] for row in listed}
    shown = run("instruments", "show", "ascii-lines").stdout
    (tmp_path / "mine.toml").write_text(shown)
    (tmp_path / "capture.bin").write_bytes(b"+1.00 in\r\n+1.10 in\r\nERR\r\n")
    words = ("instruments", "check", str(tmp_path / "mine.toml"), "--against", str(tmp_path / "capture.bin"), "--json")
    checked = json.loads(run(*words).stdout)
    assert [r["height_m"] for r in checked["readings"]] == pytest.approx([0.0254, 0.02794])
    assert checked["rejects"] == {"refused": 1}
    (tmp_path / "mine.toml").write_text(shown.replace("[height]", "[hight]"))
    assert run("instruments", "check", str(tmp_path / "mine.toml")).returncode == 4
    assert json.loads(run("instruments", "schema").stdout)["properties"]
