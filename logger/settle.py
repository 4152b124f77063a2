"""When a reading is steady, and what it is worth: `Reading -> Settled`, between the decoder and the tag.

A hose swings after every move of the probe, so a quiet moment is not yet rest: at the top of a swing readings agree
among themselves and are all wrong. A height is steady when a window of readings is narrow, does not creep, and whatever
moved before it must have died away by now, as fast as this hose lets it: by the instrument file, or as learnt in the
walk. Nothing here keeps a clock or depends on when it is asked: the same readings give the same answer, bit for bit.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from logger.reduction import sample
from logger.rest import Noise, Trace, Unrest

LEAST_READINGS = 3
MOST_OUTLIERS = 0.25
"""Above this share of outliers the window holds two heights rather than one with spikes."""
MOST_MOVING = 0.125
"""Above this share of the spread allowed, as standard uncertainty, the hose still moves too much."""
SHOWN_S = 0.5
FORCED_READINGS = 8


class SteadyRule(Protocol):
    """What an instrument file says of settling, lengths in metres, times in seconds."""

    @property
    def window_s(self) -> float:
        """Readings over this long are judged together."""

    @property
    def spread_m(self) -> float:
        """Widest the middle 90 % of them may be."""

    @property
    def damping_s(self) -> float:
        """Time in which a swing falls to a third, 0 where it is to be learnt."""

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
    they are worth, `dropped` the outliers left out. Times are those of the first and last reading. `scale_u` is the
    standard uncertainty of its scale as the instrument itself told it, per metre, 0 where it did not.
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
    scale_u: float = 0.0


class Settler:
    """Judges the readings of one instrument; a new one begins after each gap in the line."""

    def __init__(self, rule: SteadyRule) -> None:
        self.rule = rule
        self._trace = Trace(rule.window_s)
        self._unrest = Unrest(rule.window_s, self._widest(), rule.damping_s)
        self._memory = sample.Memory()
        self._rested: float | None = None

    def feed(self, t_s: float, height_m: float, stable: bool | None = None, temperature_c: float | None = None) -> None:
        """Take one reading in; times never fall. A height that is not finite is passed over."""
        if not math.isfinite(height_m):
            return
        block = self._trace.add(t_s, height_m, stable, temperature_c)
        if block is not None:
            self._learn(block)

    def now(self) -> Live | None:
        """What the instrument shows at the last reading, None before the first."""
        trace = self._trace
        if not trace.times:
            return None
        last = len(trace.times) - 1
        first = trace.index(trace.times[-1] - self.rule.window_s, LEAST_READINGS)
        shown = trace.heights[max(first, trace.index(trace.times[-1] - SHOWN_S, 1)) :]
        judged = self._judge(first) if self._long_enough(first, trace.times[first]) else None
        return Live(
            trace.times[-1],
            sample.quantile(sorted(shown), 0.5),
            self._forced_u(last) if judged is None else judged.u_m,
            sample.width(trace.heights[first:]),
            judged is not None,
            trace.temperature(first),
        )

    def take(self, since_s: float) -> Settled | None:
        """The steady height of readings later than `since_s`; None while it is not steady."""
        trace = self._trace
        start = bisect_right(trace.times, since_s)
        if start >= len(trace.times):
            return None
        first = max(start, trace.index(trace.times[-1] - self.rule.window_s, LEAST_READINGS))
        return self._judge(first) if self._long_enough(first, since_s) else None

    def force(self, since_s: float) -> Settled | None:
        """The first reading later than `since_s`, its motion as uncertainty; None while there is none."""
        trace = self._trace
        at = bisect_right(trace.times, since_s)
        if at >= len(trace.times):
            return None
        spread = sample.width([trace.heights[i] for i in self._window_to(at)])
        t_s = trace.times[at]
        return Settled(trace.heights[at], self._forced_u(at), spread, 1, 1.0, 0, False, t_s, t_s, trace.warmth[at])

    def _widest(self) -> float:
        """The spread allowed: the rule's, and never less than one step of the instrument."""
        return max(self.rule.spread_m, 1.001 * self.rule.resolution_m)

    def _long_enough(self, first: int, since_s: float) -> bool:
        times = self._trace.times
        count = len(times) - first
        if count < LEAST_READINGS:
            return False
        step = (times[-1] - times[first]) / (count - 1)
        return times[-1] - since_s + step >= self.rule.window_s * (1.0 - 1e-9)

    def _judge(self, first: int) -> Settled | None:
        """The window from `first` to the last reading as a settled height, None where it is not steady."""
        trace, resolution = self._trace, self.rule.resolution_m
        if any(flag is False for flag in trace.flags[first:]):
            return None
        window = trace.heights[first:]
        kept = sample.without_outliers(window, resolution)
        dropped = len(window) - len(kept)
        spread = sample.width(kept)
        if dropped > MOST_OUTLIERS * len(window) or len(kept) < LEAST_READINGS or spread > self._widest():
            return None
        effective = sample.effective_count(kept, self._memory)
        scatter = sample.mean_variance(kept, effective, self._memory)
        height = sample.mean(kept)
        moving_u = self._moving_u(first, height, kept)
        creep = sample.creep(kept, 4.0 * sample.HALVES * scatter)
        if moving_u > MOST_MOVING * self._widest() or creep > 0.5 * self._widest():
            return None
        parts = (scatter, sample.resolution_variance(kept, resolution, self._memory), max(creep**2 / 3.0, moving_u**2))
        times = (trace.times[first], trace.times[-1])
        warmth = trace.temperature(first)
        return Settled(height, math.sqrt(math.fsum(parts)), spread, len(kept), effective, dropped, True, *times, warmth)

    def _window_to(self, at: int) -> range:
        """Indices of the readings within one window before reading `at`, itself included."""
        times = self._trace.times
        first = bisect_right(times, times[at] - self.rule.window_s, 0, at + 1)
        return range(max(min(first, at - FORCED_READINGS + 1), 0), at + 1)

    def _moving_u(self, first: int, height_m: float, kept: Sequence[float]) -> float:
        """What the hose may still move, as standard uncertainty; an instrument that says it is stable knows its own."""
        if self._unrest.swing is None and all(self._trace.flags[first:]):
            return 0.0
        return self._unrest.left_u(self._trace, first, height_m, self._noise(kept))

    def _noise(self, kept: Sequence[float]) -> Noise:
        step = self.rule.resolution_m
        variance = sample.variance(kept)
        return Noise(3.0 * math.sqrt(variance) + step, variance + step**2 / 12.0)

    def _forced_u(self, at: int) -> float:
        """Uncertainty of one reading among those before it: the swing of the hose, as the readings show it."""
        trace, window = self._trace, self._window_to(at)
        if len(window) < LEAST_READINGS:
            return self._widest()
        if self._unrest.swing is None:
            swing = math.fsum((trace.heights[i] - trace.heights[at]) ** 2 for i in window) / (len(window) - 1)
        else:
            swing = self._unrest.swing_m(trace, at, trace.heights[at], 0.0) ** 2 / 2.0
        known = self._memory.weight > 0.0
        noise = self._memory.power_m2 / self._memory.weight if known else (self._widest() / 4.0) ** 2
        return math.sqrt(max(swing, noise) + self.rule.resolution_m**2 / 12.0)

    def _learn(self, block: range) -> None:
        """Keep what a finished window teaches: of the noise if it was at rest, of the damping once rest is sure."""
        kept = sample.without_outliers(self._trace.heights[block.start : block.stop], self.rule.resolution_m)
        quiet = len(kept) >= LEAST_READINGS and sample.width(kept) <= self._widest()
        noise, height = self._noise(kept), sample.mean(kept)
        resting = quiet and len(kept) >= 2 * LEAST_READINGS and self._resting(block.start, height, noise)
        if resting:
            joined = self._rested is not None and abs(height - self._rested) <= 0.5 * self._widest()
            self._memory = self._memory.after(kept, self._rested if joined else None)
        self._rested = height if resting else None
        self._unrest.learn(self._trace, height if quiet else None, noise)

    def _resting(self, first: int, height_m: float, noise: Noise) -> bool:
        """Whether nothing that moved before reading `first` adds to the noise of those after it."""
        known = self._unrest.swing is not None
        moving_m = (
            self._unrest.swing_m(self._trace, first, height_m, noise.reading_m)
            if known
            else self._unrest.left_u(self._trace, first, height_m, noise)
        )
        return moving_m**2 <= 0.25 * noise.variance_m2
