"""How much `risewalk --help` costs beside a bare Python: paired runs, medians, the ratio.

Run it with `python tests/bench/startup.py`.
"""

import statistics
import subprocess
import sys
import time
from pathlib import Path

RUNS = 21
BARE = [sys.executable, "-c", "pass"]
HELP = [str(Path(sys.executable).with_name("risewalk")), "--help"]


def seconds(command: list[str]) -> float:
    """Wall time of one run."""
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def main() -> None:
    """Print the medians and the median of the paired ratios."""
    seconds(BARE), seconds(HELP)
    pairs = [(seconds(BARE), seconds(HELP)) for _ in range(RUNS)]
    bare, full = (statistics.median(side) for side in zip(*pairs, strict=True))
    ratio = statistics.median(b / a for a, b in pairs)
    print(f"python -c pass {bare * 1e3:.0f} ms, risewalk --help {full * 1e3:.0f} ms, ratio {ratio:.1f} ({RUNS} pairs)")


if __name__ == "__main__":
    main()
