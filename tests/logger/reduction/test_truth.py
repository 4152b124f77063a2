"""Do the 95 % intervals hold the true heights? The truth table of the bench, walked for a short while."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

BENCH = Path(__file__).parents[2] / "bench" / "truth.py"


def lines(walks: int, only: str = "") -> list[dict[str, Any]]:
    words = [sys.executable, str(BENCH), "--walks", str(walks), "--only", only, "--json", "--jobs", "1"]
    done = subprocess.run(words, capture_output=True, text=True, timeout=900, check=False)
    assert not done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_intervals_hold_the_truth_where_the_model_is_right() -> None:
    (found,) = lines(150, "model right")
    assert not found["misses"], found
    assert found["held_error"] < 0.025
    assert found["tags_held"] > 0.93


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_intervals_hold_the_truth_in_every_line_of_the_table() -> None:
    found = lines(500)
    assert len(found) == 8
    assert [line["case"] for line in found if line["misses"]] == []
    assert all(line["held_error"] < 0.015 for line in found)
