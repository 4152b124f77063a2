"""Does the 95 % interval of a station hold its true height? Simulated walks, from single readings to adjusted heights.

    python tests/bench/truth.py [--walks 10000] [--seed 1] [--jobs 2] [--only WORD] [--json]

Where the model is right, every instrument is as its file states. Each other line adds one thing the model does not
know, at the magnitude printed; the last of these adds all of them. Tags are judged by themselves, stations adjusted. A
line misses where it is out of its bounds by more than three standard errors, as walks scatter; the exit code is then 1.
"""

import argparse
import json
import math
import os
import statistics
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import get_context

from hillside import Case, walk

AT_95 = 1.96
TOGETHER = {"noise_s": 2.0, "walk_m": 0.001, "warming_k": 3.0, "spikes": 0.01, "forced": 1 / 3}
RIGHT = "model right"
CASES = (
    Case(RIGHT),
    Case("random-walk drift of 1 mm per root hour", walk_m=0.001),
    Case("noise with a correlation time of 2 s", noise_s=2.0),
    Case("1 % spikes of up to 50 mm", spikes=0.01),
    Case("3 K of warming, 0.2 mm and 0.021 % of height a kelvin", warming_k=3.0),
    Case("a third of the tags forced, 1 s after the move", forced=1 / 3),
    Case("all of these together", **TOGETHER),  # type: ignore[arg-type]
    Case("slow hose, damping 3 to 6 s, swing 4 to 9 s, not in its file", hose=((3.0, 6.0), (4.0, 9.0))),
)


@dataclass(frozen=True)
class Line:
    """One line of the table; shares, their standard errors from walk to walk, root mean squares in metres."""

    case: str
    walks: int
    stations: int
    held: float
    held_error: float
    tags_held: float
    error_m: float
    u_m: float
    tag_error_m: float
    tag_u_m: float

    @property
    def bounds(self) -> tuple[float, float]:
        """What share is due."""
        return (0.935, 0.965) if self.case == RIGHT else (0.90, 1.0)

    @property
    def misses(self) -> bool:
        """Whether the share is out of bounds beyond chance."""
        low, high = self.bounds
        return not low - 3 * self.held_error <= self.held <= high + 3 * self.held_error


def line(case: Case, seeds: Sequence[int], jobs: int) -> Line:
    """Walk all walks of one case."""
    walks = [(case, seed) for seed in seeds]
    if jobs == 1:
        walked = [walk(*each) for each in walks]
    else:
        with get_context("spawn").Pool(jobs, os.nice, (10,)) as pool:
            walked = pool.starmap(walk, walks, chunksize=25)
    stations, tags = [p for w in walked for p in w.stations], [p for w in walked for p in w.tags]
    held = _held(stations)
    apart = [sum(abs(e) <= AT_95 * u for e, u in w.stations) - held * len(w.stations) for w in walked]
    error = statistics.pstdev(apart) * math.sqrt(len(walked)) / len(stations)
    sizes = [_rms([p[i] for p in pairs]) for pairs in (stations, tags) for i in (0, 1)]
    return Line(case.name, len(walked), len(stations), held, error, _held(tags), *sizes)


def _held(pairs: Sequence[tuple[float, float]]) -> float:
    return sum(abs(e) <= AT_95 * u for e, u in pairs) / len(pairs)


def _rms(values: Sequence[float]) -> float:
    return math.sqrt(math.fsum(v * v for v in values) / len(values))


def main() -> int:
    """Print the table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--walks", type=int, default=10_000)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    arguments.add_argument("--only", default="", help="cases with this word in their name")
    arguments.add_argument("--json", action="store_true", help="one JSON object a line")
    given = arguments.parse_args()
    if not given.json:
        print(f"{given.walks} walks a line; of each instrument: noise 0.1 to 0.5 mm, steps of 0.1, 0.5 or 1.27 mm,")
        print("unevenness 0.1 to 1 mm, drift and random walk 0.1 to 1 mm per (root) hour, hose 0.1 to 0.8 s damping")
        print(
            f"{'case':<61}{'stations held':>14}{'due':>8}{'error':>7}{'u':>6}{'tags held':>11}{'error':>7}{'u, mm':>7}"
        )
    missed = False
    for case in CASES:
        if given.only in case.name:
            found = line(case, range(given.seed, given.seed + given.walks), given.jobs)
            missed |= found.misses
            print(_json(found) if given.json else _row(found), flush=True)
    return 1 if missed else 0


def _json(found: Line) -> str:
    fields = {name: getattr(found, name) for name in Line.__annotations__}
    return json.dumps(fields | {"due": found.bounds, "misses": found.misses})


def _row(found: Line) -> str:
    due = "95±1.5" if found.case == RIGHT else ">=90"
    held = f"{found.held:.1%} ±{found.held_error:.1%}"
    of_stations = f"{found.error_m * 1000:>7.2f}{found.u_m * 1000:>6.2f}"
    of_tags = f"{found.tags_held:>11.1%}{found.tag_error_m * 1000:>7.2f}{found.tag_u_m * 1000:>7.2f}"
    return f"{found.case:<61}{held:>14}{due:>8}{of_stations}{of_tags}{'  MISSES' if found.misses else ''}"


if __name__ == "__main__":
    sys.exit(main())
