"""One simulated day on a slope, for the truth test: nature, a hose that swings, and somebody who walks and tags.

Nature is not drawn from the adjustment's own equations where it can be helped: the hose is a damped oscillator that is
carried along and let go at a random phase, the unevenness of the instrument has wave lengths of its own, readings are
rounded to whole steps, and the probe rests, is carried and comes to rest while readings go on.
"""

import cmath
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass

from logger.observation import Instrument, Kind, Observation, Survey
from logger.reduction.adjustment import adjust
from logger.settle import Settled, Settler

STEP_S = 0.1
PER_KELVIN = 2.1e-4
"""Expansion of water about 20 C."""
WARMING_K_PER_H = 3.0
SPIKE_M = 0.05


@dataclass(frozen=True)
class Case:
    """What nature does in one line of the table, lengths in metres; `hose` the ranges of damping and swing, seconds."""

    name: str
    noise_s: float = 0.0
    walk_m: float | None = None
    warming_k: float | None = None
    spikes: float = 0.0
    forced: float = 0.0
    hose: tuple[tuple[float, float], tuple[float, float]] = ((0.1, 0.8), (0.5, 2.0))


@dataclass(frozen=True)
class Rule:
    """How the virtual instrument settles: what its file leaves at the default, but for its steps."""

    resolution_m: float
    window_s: float = 1.5
    spread_m: float = 0.002
    damping_s: float = 0.0


class Nature:
    """True errors of one instrument over time and height, with what its maker truly says of it."""

    def __init__(self, case: Case, rnd: random.Random, walk_s: float) -> None:
        self.case, self.rnd, self.walk_s = case, rnd, walk_s
        self.noise_m = rnd.uniform(0.0001, 0.0005)
        drift_m = rnd.uniform(0.0001, 0.001)
        self.states = Instrument(rnd.choice((0.0001, 0.0005, 0.00127)), rnd.uniform(0.0001, 0.001), 0.0, drift_m)
        self.walk_m = drift_m if case.walk_m is None else case.walk_m
        self.waves = [
            (2 * math.pi / math.exp(rnd.uniform(math.log(2), math.log(10))), rnd.gauss(0, 1), rnd.gauss(0, 1))
            for _ in range(4)
        ]
        self.colour = rnd.gauss(0, self.noise_m)
        self.keep = math.exp(-STEP_S / case.noise_s) if case.noise_s else 0.0
        (least, most), (short, long) = case.hose
        damping_s, swing_s = rnd.uniform(least, most), rnd.uniform(short, long)
        self.hose = Hose(damping_s, 2 * math.pi / swing_s)
        self.new_setup(0.0)

    def new_setup(self, t_s: float) -> None:
        """The reference end was moved: zero, slope and warming begin anew."""
        self.begun_s = self.walked_s = t_s
        self.walked_m, self.slope = 0.0, self.rnd.gauss(0, self.states.drift_u_m_per_h)
        self.warming = self.rnd.gauss(0, WARMING_K_PER_H * PER_KELVIN)

    def error(self, t_s: float, height_m: float) -> float:
        """Error of a probe at rest at `height_m` above the reference end, but for noise and rounding; times rise."""
        hours = (t_s - self.begun_s) / 3600
        self.walked_m += self.rnd.gauss(0, self.walk_m * math.sqrt((t_s - self.walked_s) / 3600))
        self.walked_s = t_s
        uneven = sum(a * math.sin(k * height_m) + b * math.cos(k * height_m) for k, a, b in self.waves)
        error = self.states.accuracy_u_m * uneven / math.sqrt(len(self.waves)) + self.slope * hours + self.walked_m
        if self.case.warming_k is None:
            return error + self.warming * hours * height_m
        kelvin = self.case.warming_k * t_s / self.walk_s
        return error + kelvin * (0.0002 + PER_KELVIN * height_m)

    def noise(self) -> float:
        """Noise of the next reading, spikes among it."""
        fresh = self.rnd.gauss(0, self.noise_m)
        self.colour = self.keep * self.colour + math.sqrt(1 - self.keep**2) * fresh
        spike = self.case.spikes and self.rnd.random() < self.case.spikes
        return self.colour + (self.rnd.uniform(-SPIKE_M, SPIKE_M) if spike else 0.0)

    def reading(self, height_m: float) -> float:
        """What the instrument tells of a momentary height: with noise, in whole steps."""
        step = self.states.resolution_m
        return round((height_m + self.noise()) / step) * step


@dataclass
class Hose:
    """A damped oscillator, exact from step to step: the real part of `swing` is how far the fluid is from rest."""

    damping_s: float
    omega: float
    swing: complex = 0j

    def __post_init__(self) -> None:
        self._turn = cmath.exp(complex(-1 / self.damping_s, self.omega) * STEP_S)

    def step(self, moved_m: float) -> float:
        """One step in which the place of rest moves; the fluid keeps its height and speed."""
        self.swing = (self.swing + complex(-moved_m, moved_m / (self.damping_s * self.omega))) * self._turn
        return self.swing.real


@dataclass
class Walker:
    """Somebody who carries the probe on, puts it down, waits a little, tags, and rests a little before the next."""

    nature: Nature
    settler: Settler
    patience_s: float
    t_s: float = 0.0
    height_m: float = 0.0
    error_m: float = 0.0

    def tag(self, height_m: float, pause_s: float, *, forced: bool) -> Settled | None:
        """Rest, move to a height above the reference end and tag it; None where it never came to rest."""
        rnd = self.nature.rnd
        self._rest(rnd.uniform(0.5, 4.0))
        self.t_s += pause_s
        self._rest(1.0)
        self._carry(height_m - self.height_m, rnd.uniform(0.3, 1.5))
        self.height_m, self.error_m = height_m, self.nature.error(self.t_s, height_m)
        since_s = self.t_s + (1.0 if forced else rnd.uniform(0.5, 5.0))
        until_s = self.t_s + self.patience_s
        while self.t_s < until_s:
            self._reads(0.0)
            if self.t_s > since_s:
                settled = self.settler.force(since_s) if forced else self.settler.take(since_s)
                if settled is not None:
                    return settled
        return None

    def _rest(self, for_s: float) -> None:
        for _ in range(round(for_s / STEP_S)):
            self._reads(0.0)

    def _carry(self, by_m: float, for_s: float) -> None:
        """Carry the probe smoothly."""
        steps = max(round(for_s / STEP_S), 1)
        done = 0.0
        for k in range(1, steps + 1):
            share = (1 - math.cos(math.pi * k / steps)) / 2
            self.height_m += by_m * (share - done)
            self._reads(by_m * (share - done))
            done = share

    def _reads(self, moved_m: float) -> None:
        self.t_s += STEP_S
        height_m = self.height_m + self.nature.hose.step(moved_m) + self.error_m
        self.settler.feed(self.t_s, self.nature.reading(height_m))


@dataclass
class Walked:
    """One walk: error and standard uncertainty, in metres, of its tags by themselves and of its adjusted stations."""

    tags: list[tuple[float, float]]
    stations: list[tuple[float, float]]


def walk(case: Case, seed: int) -> Walked:
    """Walk a random slope in one to three setups, the zero of each observed again at its end."""
    rnd = random.Random(seed)
    setups, each, pause_s = rnd.randint(1, 3), rnd.randint(5, 10), rnd.uniform(15, 55)
    nature = Nature(case, rnd, setups * (each + 3) * (pause_s + 10))
    patience_s = 40.0 + 10.0 * nature.hose.damping_s
    walker = Walker(nature, Settler(Rule(nature.states.resolution_m)), patience_s)
    truth: dict[str, float] = {}
    seen: list[Observation] = []
    tags: list[tuple[float, float]] = []
    reference = 0.0
    for setup, name, station_m, height in _way(rnd, setups, each):
        truth.setdefault(name, height)
        if not seen or seen[-1].setup != setup:
            reference = truth[name] - rnd.uniform(0.2, 0.6)
            nature.new_setup(walker.t_s)
        forced = rnd.random() < case.forced
        settled = walker.tag(truth[name] - reference, pause_s, forced=forced)
        if settled is None:
            continue
        tags.append((settled.height_m - (walker.height_m + walker.error_m), settled.u_m))
        kind = Kind.STATION if station_m is not None else Kind.BENCHMARK if name == "BM" else Kind.TURN
        mark = {"name": name, "elevation_m": 0.0 if name == "BM" else None} if station_m is None else {}
        where = {"n": len(seen) + 1, "kind": kind, "setup": setup, "t_s": settled.to_s, "tape_m": station_m}
        seen.append(Observation(height_m=settled.height_m, u_m=settled.u_m, forced=forced, **where, **mark))  # type: ignore[arg-type]
    if not any(o.elevation_m is not None for o in seen):
        return Walked(tags, [])
    points = adjust(Survey(tuple(seen), instrument=nature.states)).profile.points
    return Walked(tags, [(p.elevation_m - truth[f"{p.station_m:.6f}"], p.u_m) for p in points])


def _way(rnd: random.Random, setups: int, each: int) -> Iterator[tuple[int, str, float | None, float]]:
    """Setup, name, distance (None for marks) and true height of each place to tag, in order."""
    height = station = zero_m = 0.0
    zero = "BM"
    for setup in range(1, setups + 1):
        yield setup, zero, None, zero_m
        for _ in range(each):
            station, height = round(station + rnd.uniform(0.3, 1.2), 6), height + rnd.uniform(-0.02, 0.22)
            yield setup, f"{station:.6f}", station, height
        if setup < setups:
            yield setup, f"TP{setup}", None, height + 0.1
        yield setup, zero, None, zero_m
        zero, zero_m = f"TP{setup}", height + 0.1
