"""The physics of a virtual level: a hose that swings, a zero that drifts, noise, and a probe that is moved."""

import math
import random
from dataclasses import dataclass, replace

from drivers.simulator.ground import Ground

NEAR_ZERO_M = 20.0
"""On ground this close to the datum the reference end stands at zero; else on the ground's first point."""
SHIFT_M = (0.1, 0.5)


@dataclass(frozen=True, slots=True)
class Behaviour:
    """How a virtual level behaves; lengths in metres, times in seconds."""

    noise_m: float = 0.0002
    damping_s: float = 0.12
    swing_s: float = 0.5
    drift_m_per_h: float = 0.0005
    temperature_c: float = 15.0
    battery: float = 87.0


@dataclass(frozen=True, slots=True)
class Shown:
    """What the instrument shows at one moment, before its protocol rounds it."""

    t_s: float
    height_m: float
    temperature_c: float
    battery: float
    stable: bool


class Hose:
    """A probe on a hose over a ground line. Deterministic: the same moves at the same times show the same heights.

    After a move the height swings into its place: `target + step * exp(-t/damping) * cos(2 pi t/swing)`.
    """

    def __init__(self, ground: Ground, *, seed: int = 0, behaviour: Behaviour | None = None) -> None:
        self.ground = ground
        self.behaviour = behaviour or Behaviour()
        self._random = random.Random(seed)
        first = ground.elevations_m[0]
        self.reference_m = 0.0 if abs(first) <= NEAR_ZERO_M else first
        self.true_m = first
        self._target_m = first - self.reference_m
        self._step_m = 0.0
        self._moved_s = -math.inf
        self._start_s: float | None = None

    def at(self, station_m: float, now_s: float) -> float:
        """Put the probe on the ground at a station; its true elevation. ValueError off the ground."""
        return self.put(self.ground.elevation_m(station_m), now_s)

    def put(self, elevation_m: float, now_s: float) -> float:
        """Put the probe at a true elevation."""
        self.true_m = elevation_m
        self._swing(now_s)
        return elevation_m

    def shift(self, now_s: float) -> float:
        """Move the reference end; by how much it went up."""
        low, high = SHIFT_M
        moved = self._random.uniform(low, high) * self._random.choice((-1, 1))
        self.reference_m += moved
        self._swing(now_s)
        return moved

    def change(self, **values: float) -> None:
        """Change the behaviour from now on."""
        self.behaviour = replace(self.behaviour, **values)

    def show(self, now_s: float) -> Shown:
        """What it shows now; each call draws its own noise."""
        how = self.behaviour
        if self._start_s is None:
            self._start_s = now_s
        height = self._swinging(now_s) + how.drift_m_per_h * (now_s - self._start_s) / 3600
        quiet = abs(self._step_m) * math.exp(-(now_s - self._moved_s) / how.damping_s) < 0.001
        noisy = height + self._random.gauss(0.0, how.noise_m)
        return Shown(now_s, noisy, how.temperature_c, how.battery, quiet)

    def _swinging(self, now_s: float) -> float:
        since = now_s - self._moved_s
        if since == math.inf:
            return self._target_m
        how = self.behaviour
        swing = math.exp(-since / how.damping_s) * math.cos(2 * math.pi * since / how.swing_s)
        return self._target_m + self._step_m * swing

    def _swing(self, now_s: float) -> None:
        before = self._swinging(now_s)
        self._target_m = self.true_m - self.reference_m
        self._step_m = before - self._target_m
        self._moved_s = now_s
