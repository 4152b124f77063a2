"""The user's own instrument put to the test: twenty pairs in two sets, recorded through a pseudo-terminal."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tui.cli.demo import child

LEVEL = r"""
[instrument]
name = "Level that settles at once"
[decoder]
kind = "lines"
pattern = '^\s*(?P<height>[+-]?\d+\.\d+)\s*(?P<unit>in|ft|mm|cm|m)?\s*$'
[height]
unit = "in"
resolution = "0.01 in"
[settle]
window = "0.1 s"
spread = "3 mm"
damping = "0.12 s"
"""
A_M, B_M = 0.37, 0.35


def record_pairs(folder: Path, pairs: int) -> Path:
    """Both sets in one session."""
    (folder / "level.toml").write_text(LEVEL)
    (folder / "ground.csv").write_text("station_m,elevation_m\n0,0\n10,1\n")
    session = folder / "pairs.walk"
    play = ("--rate", "200", "--seed", "11", "--noise", "0.5 mm")
    with child("simulate", "--ground", str(folder / "ground.csv"), "--speak", "lines", *play) as level:
        port = level.answer()["port"]
        with child("record", str(session), "--port", port, "--instrument", str(folder / "level.toml")) as recorder:
            for more in ("setup", "end"):
                for _ in range(pairs):
                    level.ask(f"point A {A_M}")
                    recorder.ask("benchmark A")
                    level.ask(f"point B {B_M}")
                    recorder.ask("point B")
                recorder.ask(more)
    return session


@pytest.mark.timeout(300)
@pytest.mark.parametrize("pairs", [4, pytest.param(20, marks=pytest.mark.slow)])
def test_pairs_in_two_sets_are_judged(tmp_path: Path, pairs: int) -> None:
    words = [sys.executable, "-m", "tui.cli", "fieldtest", str(record_pairs(tmp_path, pairs)), "--sigma", "1 mm"]
    done = subprocess.run([*words, "--json"], capture_output=True, text=True, timeout=60)
    told = json.loads(done.stdout)
    assert told["pairs"] == [pairs, pairs]
    assert told["freedom"] == 2 * pairs - 2
    assert 0.00002 < told["sigma_m"] < 0.001
    assert abs(told["zero_difference_m"]) < 0.001
    assert any("fewer than the 20 pairs" in note for note in told["notes"]) is (pairs < 20)
    assert done.returncode == (0 if told["passed"] else 1)
    assert f"{pairs} and {pairs} pairs" in subprocess.run(words, capture_output=True, text=True, timeout=60).stdout
