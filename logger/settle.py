"""When a reading is steady, and what it is worth: `Reading -> Settled`, between the decoder and the tag.

A hose swings after every move of the probe, so a quiet moment is not yet rest: at the top of a swing readings agree
among themselves and are all wrong. A height is steady when a window of readings is narrow *and* agrees with the window
before it. Nothing here keeps a clock or depends on when it is asked: the same readings give the same answer, bit for
bit.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from logger.reduction import sample

LEAST_READINGS = 3
MOST_OUTLIERS = 0.25
"""Above this share of outliers the window holds two heights rather than one with spikes."""
SHOWN_S = 0.5
KEPT_WINDOWS = 3.0
SLOW_READINGS = 8
MOST_KEPT = 8192
MEAN_AND_MEDIAN = 1.0 + math.pi / 2.0
"""Variance of a mean less the median of as many readings, in variances of the mean."""


class SteadyRule(Protocol):
    """What an instrument file says of settling, lengths in metres."""

    @property
    def window_s(self) -> float:
        """Readings over this long are judged together."""

    @property
    def spread_m(self) -> float:
        """Widest the middle 90 % of them may be."""

    @property
    def resolution_m(self) -> float:
        """Smallest step the instrument shows, 0 where not known."""


@dataclass(frozen=True, slots=True)
class Live:
    """What the instrument shows now; `height_m` the median of the last half second, `spread_m` over the window."""

    t_s: float
    height_m: float
    u_m: float
    spread_m: float
    steady: bool
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """A height a tag may keep.

    `u_m` is its standard uncertainty from scatter, steps and remaining motion (not what all heights of the instrument
    have in common); `spread_m` the width of the middle 90 % of the readings, `effective` how many independent readings
    they are worth, `dropped` the outliers left out. Times are those of the first and last reading.
    """

    height_m: float
    u_m: float
    spread_m: float
    readings: int
    effective: float
    dropped: int
    steady: bool
    from_s: float
    to_s: float
    temperature_c: float | None = None


class Settler:
    """Judges the readings of one instrument; a new one begins after each gap in the line."""

    def __init__(self, rule: SteadyRule) -> None:
        self.rule = rule
        self._times: list[float] = []
        self._heights: list[float] = []
        self._flags: list[bool | None] = []
        self._warmth: list[float | None] = []
        self._memory = sample.Memory()
        self._block_from = 0

    def feed(self, t_s: float, height_m: float, stable: bool | None = None, temperature_c: float | None = None) -> None:
        """Take one reading in; times never fall. A height that is not finite is passed over."""
        if not math.isfinite(height_m):
            return
        self._times.append(t_s)
        self._heights.append(height_m)
        self._flags.append(stable)
        self._warmth.append(temperature_c)
        if t_s - self._times[self._block_from] >= self.rule.window_s:
            self._learn()
        if len(self._times) >= 2 * MOST_KEPT or (len(self._times) % 64 == 0 and self._times[0] < t_s - self._kept_s):
            self._forget(t_s)

    def now(self) -> Live | None:
        """What the instrument shows at the last reading, None before the first."""
        if not self._times:
            return None
        first = self._since(self._times[-1] - self.rule.window_s, LEAST_READINGS)
        shown = self._heights[max(first, self._since(self._times[-1] - SHOWN_S, 1)) :]
        window = self._heights[first:]
        judged = self._judge(first) if self._long_enough(first, self._times[first]) else None
        return Live(
            self._times[-1],
            sample.quantile(sorted(shown), 0.5),
            self._forced_u(len(self._times) - 1) if judged is None else judged.u_m,
            sample.width(window),
            judged is not None,
            self._temperature(first),
        )

    def take(self, since_s: float) -> Settled | None:
        """The steady height of readings later than `since_s`; None while it is not steady."""
        start = bisect_right(self._times, since_s)
        if start >= len(self._times):
            return None
        first = max(start, self._since(self._times[-1] - self.rule.window_s, LEAST_READINGS))
        return self._judge(first) if self._long_enough(first, since_s) else None

    def force(self, since_s: float) -> Settled | None:
        """The first reading later than `since_s` with the motion before it as uncertainty; None while there is none."""
        at = bisect_right(self._times, since_s)
        if at >= len(self._times):
            return None
        t_s, before = self._times[at], self._window_to(at)
        spread = sample.width([self._heights[i] for i in before])
        warmth = self._warmth[at]
        return Settled(self._heights[at], self._forced_u(at), spread, 1, 1.0, 0, False, t_s, t_s, warmth)

    @property
    def _kept_s(self) -> float:
        return KEPT_WINDOWS * self.rule.window_s

    def _since(self, t_s: float, least: int) -> int:
        """Index of the first reading not before `t_s`, or earlier so that at least `least` are in."""
        first = bisect_right(self._times, t_s - 1e-9)
        return max(min(first, len(self._times) - least), 0)

    def _long_enough(self, first: int, since_s: float) -> bool:
        count = len(self._times) - first
        if count < LEAST_READINGS:
            return False
        step = (self._times[-1] - self._times[first]) / (count - 1)
        return self._times[-1] - since_s + step >= self.rule.window_s * (1.0 - 1e-9)

    def _judge(self, first: int) -> Settled | None:
        """The window from `first` to the last reading as a settled height, None where it is not steady."""
        if any(flag is False for flag in self._flags[first:]):
            return None
        window = self._heights[first:]
        kept = sample.without_outliers(window, self.rule.resolution_m)
        dropped = len(window) - len(kept)
        spread = sample.width(kept)
        if dropped > MOST_OUTLIERS * len(window) or len(kept) < LEAST_READINGS or spread > self._widest():
            return None
        effective = sample.effective_count(kept, self._memory)
        scatter = sample.mean_variance(kept, effective, self._memory)
        moved = self._moved(first, kept)
        noise = 4.0 * MEAN_AND_MEDIAN * scatter
        if moved**2 > (0.5 * self._widest()) ** 2 + noise:
            return None
        still_moving = max(moved**2 - noise, 0.0) / 3.0
        u_m = math.sqrt(scatter + sample.resolution_variance(kept, self.rule.resolution_m) + still_moving)
        times = (self._times[first], self._times[-1])
        return Settled(
            sample.mean(kept), u_m, spread, len(kept), effective, dropped, True, *times, self._temperature(first)
        )

    def _widest(self) -> float:
        """The spread allowed: the rule's, and never less than one step of the instrument."""
        return max(self.rule.spread_m, 1.001 * self.rule.resolution_m)

    def _moved(self, first: int, kept: Sequence[float]) -> float:
        """How far the height moved from the window before, or within this one where there is none before it."""
        earlier = self._since(self._times[first] - self.rule.window_s, 1)
        before = self._heights[min(earlier, first) : first]
        if 2 * len(before) < len(kept):
            half = len(kept) // 2
            return sample.mean(kept[-half:]) - sample.mean(kept[:half])
        return sample.mean(kept) - sample.quantile(sorted(before), 0.5)

    def _window_to(self, at: int) -> range:
        """Indices of the readings within one window before reading `at`, itself included."""
        first = bisect_right(self._times, self._times[at] - self.rule.window_s, 0, at + 1)
        return range(max(min(first, at - SLOW_READINGS + 1), 0), at + 1)

    def _forced_u(self, at: int) -> float:
        """Uncertainty of one reading among its neighbours in time: the swing of the hose, as the readings show it."""
        window = self._window_to(at)
        if len(window) < LEAST_READINGS:
            return self._widest()
        here = self._heights[at]
        swing = math.fsum((self._heights[i] - here) ** 2 for i in window) / (len(window) - 1)
        return math.sqrt(max(swing, (self._widest() / 4.0) ** 2) + self.rule.resolution_m**2 / 12.0)

    def _temperature(self, first: int) -> float | None:
        known = [t for t in self._warmth[first:] if t is not None]
        return sample.mean(known) if known else None

    def _learn(self) -> None:
        """Keep what a finished window teaches of the noise, if it was a quiet one."""
        block = self._heights[self._block_from :]
        self._block_from = len(self._times)
        kept = sample.without_outliers(block, self.rule.resolution_m)
        if len(kept) >= 2 * LEAST_READINGS and sample.width(kept) <= self._widest():
            self._memory = self._memory.after(sample.lag_one(kept), sample.variance(kept), len(kept))

    def _forget(self, t_s: float) -> None:
        """Drop readings too old to matter, never the last few of a slow instrument."""
        old = min(bisect_right(self._times, t_s - self._kept_s), len(self._times) - SLOW_READINGS * 2)
        old = max(old, len(self._times) - MOST_KEPT)
        if old <= 0:
            return
        for column in (self._times, self._heights, self._flags, self._warmth):
            del column[:old]
        self._block_from = max(self._block_from - old, 0)
