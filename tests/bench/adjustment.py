"""How long the adjustment takes, and how it grows: medians, and the ratio to the walk half its size.

Run it with `python tests/bench/adjustment.py`.
"""

import random
import statistics
import time

from logger.observation import Instrument, Kind, Observation, Survey
from logger.reduction.adjustment import adjust

INSTRUMENT = Instrument(0.0001, 0.001, 0.001, 0.0005)
SIZES = ((60, 2), (625, 12), (1250, 25), (2500, 50), (5000, 100), (10_000, 200))


def survey(observations: int, setups: int) -> Survey:
    """A long walk: each setup begins and ends on turning points, and takes up some stations of the one before."""
    rnd = random.Random(1)
    seen: list[Observation] = []
    each = observations // setups

    def add(setup: int, kind: Kind, height_m: float, **more: object) -> None:
        shown = height_m + setup * 0.1 + rnd.gauss(0, 0.0003)
        n = len(seen) + 1
        seen.append(Observation(n, kind, setup, n * 30.0, shown, 0.0003, **more))  # type: ignore[arg-type]

    for setup in range(1, setups + 1):
        add(
            setup,
            Kind.BENCHMARK if setup == 1 else Kind.TURN,
            0.0 if setup == 1 else setup - 1.0,
            name="BM" if setup == 1 else f"TP{setup - 1}",
            elevation_m=0.0 if setup == 1 else None,
        )
        for k in range(each - 2):
            station = round((setup - 1) * each * 0.7 + k)
            add(setup, Kind.STATION, station * 0.1, tape_m=float(station))
        add(setup, Kind.TURN, float(setup), name=f"TP{setup}")
    return Survey(tuple(seen), instrument=INSTRUMENT)


def seconds(walk: Survey, runs: int) -> float:
    """Median time of an adjustment."""
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        adjust(walk)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def main() -> None:
    """Print the table."""
    print(f"{'observations':>12}{'setups':>8}{'time':>12}{'growth':>8}")
    before = None
    for size, setups in SIZES:
        took = seconds(survey(size, setups), 9 if size < 1000 else 3)
        growth = "" if before is None or size <= 625 else f"{took / before:.1f}x"
        print(f"{size:>12}{setups:>8}{took * 1000:>9.1f} ms{growth:>8}", flush=True)
        before = took


if __name__ == "__main__":
    main()
