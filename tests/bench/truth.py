"""Does the 95 % interval of a station hold its true height? Simulated walks, from single readings to adjusted heights.

    python tests/bench/truth.py [--walks 10000] [--seed 1]

Where the model is right, every error is drawn from what the instrument file states. Each other line adds one thing the
model does not know, at the magnitude printed; the last adds all of them.
"""

import argparse
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

from logger.observation import Instrument, Kind, Observation, Survey
from logger.reduction.adjustment import adjust
from logger.reduction.errors_of_instrument import WARMING_K_PER_H, WATER_PER_K, WAVES
from logger.settle import Settled, Settler

RATE_HZ = 10
DRIFT_M_PER_H = 0.0005
ACCURACY_U_M = 0.0005
RESOLUTION_M = 0.0001
LONGEST_S = 40.0
AT_95 = 1.96


@dataclass(frozen=True)
class Case:
    """What nature does in one line of the table; lengths in metres."""

    name: str
    noise_m: float = 0.0003
    noise_s: float = 0.0
    walk_m: float = DRIFT_M_PER_H
    warming_k: float | None = None
    spikes: float = 0.0
    forced: float = 0.0


@dataclass(frozen=True)
class Rule:
    """How the virtual instrument settles."""

    window_s: float = 1.5
    spread_m: float = 0.002
    damping_s: float = 0.0
    resolution_m: float = RESOLUTION_M


RIGHT = Case("model right")
CASES = (
    RIGHT,
    replace(RIGHT, name="random-walk drift of 1 mm per root hour", walk_m=0.001),
    replace(RIGHT, name="noise with a correlation time of 2 s", noise_s=2.0),
    replace(RIGHT, name="1 % spikes of up to 50 mm", spikes=0.01),
    replace(RIGHT, name="3 K of warming, 0.2 mm and 0.021 % of height a kelvin", warming_k=3.0),
    replace(RIGHT, name="a third of the tags forced, 1 s after the move", forced=1 / 3),
    Case("all of these together", noise_s=2.0, walk_m=0.001, warming_k=3.0, spikes=0.01, forced=1 / 3),
)


class Nature:
    """One day on one slope: true errors of the instrument over time and height, drawn from a seed."""

    def __init__(self, case: Case, rnd: random.Random, walk_s: float) -> None:
        self.case, self.rnd, self.walk_s = case, rnd, walk_s
        self.waves = [(2 * math.pi / w, rnd.gauss(0, math.sqrt(s)), rnd.gauss(0, math.sqrt(s))) for w, s in WAVES]
        self.colour = rnd.gauss(0, case.noise_m)
        self.damping_s, self.swing_s = rnd.uniform(0.1, 0.8), rnd.uniform(0.5, 2.0)
        self.new_setup(0.0)

    def new_setup(self, t_s: float) -> None:
        """The reference end was moved: zero, slope and warming begin anew."""
        self.begun_s = self.walked_s = t_s
        self.walked_m, self.slope = 0.0, self.rnd.gauss(0, DRIFT_M_PER_H)
        self.warming = self.rnd.gauss(0, WARMING_K_PER_H * WATER_PER_K)

    def shown(self, t_s: float, height_m: float) -> float:
        """What a probe at rest at `height_m` above the reference end shows, without rounding."""
        hours = (t_s - self.begun_s) / 3600
        passed = (t_s - self.walked_s) / 3600
        self.walked_m += self.rnd.gauss(0, self.case.walk_m * math.sqrt(passed))
        self.walked_s = t_s
        uneven = sum(a * math.sin(k * height_m) + b * math.cos(k * height_m) for k, a, b in self.waves)
        error = ACCURACY_U_M * uneven + self.slope * hours + self.walked_m
        if self.case.warming_k is None:
            error += self.warming * hours * height_m
        else:
            kelvin = self.case.warming_k * t_s / self.walk_s
            error += kelvin * (0.0002 + WATER_PER_K * height_m)
        return height_m + error

    def noise(self) -> float:
        """Noise of the next reading, spikes among it."""
        case = self.case
        keep = math.exp(-1 / (RATE_HZ * case.noise_s)) if case.noise_s else 0.0
        self.colour = keep * self.colour + math.sqrt(1 - keep**2) * self.rnd.gauss(0, case.noise_m)
        return self.colour + (self.rnd.uniform(-0.05, 0.05) if self.rnd.random() < case.spikes else 0.0)


@dataclass
class Walker:
    """Somebody who puts the probe down, waits a little, and tags."""

    nature: Nature
    settler: Settler
    t_s: float = 0.0
    height_m: float = 0.0

    def tag(self, height_m: float, *, forced: bool) -> Settled | None:
        """Move to a height above the reference end and tag it; None where it never came to rest."""
        step, moved = self.height_m - height_m, self.t_s
        self.height_m = height_m
        since = moved + (1.0 if forced else self.nature.rnd.uniform(0.5, 5.0))
        while self.t_s < moved + LONGEST_S:
            self.t_s += 1 / RATE_HZ
            after = self.t_s - moved
            swing = step * math.exp(-after / self.nature.damping_s) * math.cos(6.283 * after / self.nature.swing_s)
            height = self.nature.shown(self.t_s, height_m) + swing + self.nature.noise()
            self.settler.feed(self.t_s, round(height / RESOLUTION_M) * RESOLUTION_M)
            if self.t_s > since:
                settled = self.settler.force(since) if forced else self.settler.take(since)
                if settled is not None:
                    return settled
        return None


def walk(case: Case, seed: int) -> Iterator[tuple[float, float]]:
    """One walk: error and standard uncertainty of each of its stations, in metres."""
    rnd = random.Random(seed)
    setups, each = rnd.randint(1, 3), rnd.randint(5, 10)
    pause_s = rnd.uniform(20, 60)
    nature = Nature(case, rnd, setups * (each + 3) * (pause_s + 5))
    walker = Walker(nature, Settler(Rule()))
    truth = {"BM": 0.0}
    seen: list[Observation] = []
    height = station = reference = 0.0

    def observe(setup: int, name: str, station_m: float | None = None) -> None:
        forced = rnd.random() < case.forced
        walker.t_s += pause_s
        settled = walker.tag(truth[name] - reference, forced=forced)
        if settled is None:
            return
        kind = Kind.STATION if station_m is not None else Kind.BENCHMARK if name == "BM" else Kind.TURN
        seen.append(
            Observation(
                n=len(seen) + 1,
                kind=kind,
                setup=setup,
                t_s=settled.to_s,
                height_m=settled.height_m,
                u_m=settled.u_m,
                name="" if station_m is not None else name,
                tape_m=station_m,
                forced=forced,
                elevation_m=0.0 if name == "BM" else None,
            )
        )

    zero = "BM"
    for setup in range(1, setups + 1):
        reference = truth[zero] - rnd.uniform(0.2, 0.6)
        nature.new_setup(walker.t_s)
        observe(setup, zero)
        for _ in range(each):
            station, height = station + rnd.uniform(0.3, 1.2), height + rnd.uniform(-0.02, 0.22)
            truth[f"{station:.6f}"] = height
            observe(setup, f"{station:.6f}", station)
        if setup < setups:
            truth[f"TP{setup}"] = height + 0.1
            observe(setup, f"TP{setup}")
        observe(setup, zero)
        zero = f"TP{setup}"
    result = adjust(Survey(tuple(seen), instrument=Instrument(RESOLUTION_M, ACCURACY_U_M, 0.0, DRIFT_M_PER_H)))
    for point in result.profile.points:
        yield point.elevation_m - truth[f"{point.station_m:.6f}"], point.u_m


def main() -> None:
    """Print the table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--walks", type=int, default=10_000)
    arguments.add_argument("--seed", type=int, default=1)
    given = arguments.parse_args()
    told = (
        f"{given.walks} walks a line; noise 0.3 mm, drift and random walk {DRIFT_M_PER_H * 1000:g} mm per (root) hour,"
    )
    print(told, f"unevenness {ACCURACY_U_M * 1000:g} mm (one sigma), steps of {RESOLUTION_M * 1000:g} mm")
    print(f"{'case':<56}{'stations':>9}{'held':>8}{'due':>7}{'error rms':>11}{'u rms':>8}")
    for case in CASES:
        pairs = [pair for k in range(given.walks) for pair in walk(case, given.seed + k)]
        held = sum(abs(e) <= AT_95 * u for e, u in pairs) / len(pairs)
        rms = [math.sqrt(math.fsum(v[i] ** 2 for v in pairs) / len(pairs)) * 1000 for i in (0, 1)]
        due = "95±1.5" if case is RIGHT else ">=90"
        print(f"{case.name:<56}{len(pairs):>9}{held:>8.1%}{due:>7}{rms[0]:>8.2f} mm{rms[1]:>6.2f} mm", flush=True)


if __name__ == "__main__":
    main()
