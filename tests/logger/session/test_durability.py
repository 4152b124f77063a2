"""The proofs of durability in small: the command that prints their figures finds nothing lost and nothing corrupt."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[2] / "bench" / "durability.py"


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize(
    ("proof", "size"),
    [("--kills", 15), ("--cuts", 400), ("--pages", 6), ("--gone", 8)],
    ids=["kill -9", "power cut", "full disk", "file gone"],
)
def test_nothing_answered_is_lost(proof: str, size: int) -> None:
    sizes = {"--kills": 0, "--cuts": 0, "--pages": 0, "--gone": 0} | {proof: size}
    arguments = [str(part) for pair in sizes.items() for part in pair]
    done = subprocess.run([sys.executable, BENCH, *arguments], capture_output=True, text=True, check=False)
    if "strace" in done.stderr and "No such file" in done.stderr:
        pytest.skip("strace is not installed")
    told = json.loads(done.stdout)
    if "skipped" in told:
        pytest.skip(told["skipped"])
    assert told["answered"] > 0
    assert told["runs"] >= size
    assert (told["lost"], told["corrupt"]) == (0, 0), done.stderr
