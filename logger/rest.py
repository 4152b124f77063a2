"""How fast the motion of a hose dies away, and how much of what moved before is still left in a window of readings."""

import math
from bisect import bisect_right
from dataclasses import dataclass, field

from logger.reduction import sample

KEPT_WINDOWS = 10.0
LEAST_KEPT_S = 15.0
MOST_KEPT = 8192
FEWEST_KEPT = 24
SURE_WINDOWS = 2
QUICK = 0.4
REMEMBERED = 5
MARGIN = 1.25
FAR = 8.0
LONGEST_S = 20.0
MEDIANS = 1.6
"""Standard uncertainty of a mean less a median of as many readings, in those of the mean: root of 1 + pi/2."""


class Trace:
    """The latest readings of one instrument, in columns, and the end of each window of them."""

    def __init__(self, window_s: float) -> None:
        self.window_s = window_s
        self.times: list[float] = []
        self.heights: list[float] = []
        self.flags: list[bool | None] = []
        self.warmth: list[float | None] = []
        self._block = 0

    def add(self, t_s: float, height_m: float, stable: bool | None, temperature_c: float | None) -> range | None:
        """Take one reading in; the indices of a window that it finishes."""
        times = self.times
        times.append(t_s)
        self.heights.append(height_m)
        self.flags.append(stable)
        self.warmth.append(temperature_c)
        finished = None
        if t_s - times[self._block] >= self.window_s:
            finished, self._block = range(self._block, len(times)), len(times)
            self._forget(t_s)
            finished = range(len(times) - len(finished), len(times))
        elif len(times) >= 2 * MOST_KEPT:
            self._forget(t_s)
        return finished

    def index(self, t_s: float, least: int) -> int:
        """Index of the first reading not before `t_s`, or an earlier one so that at least `least` are in."""
        first = bisect_right(self.times, t_s - 1e-9)
        return max(min(first, len(self.times) - least), 0)

    def temperature(self, first: int) -> float | None:
        """Mean temperature from reading `first` on, None where it was not measured."""
        known = [t for t in self.warmth[first:] if t is not None]
        return sample.mean(known) if known else None

    def _forget(self, t_s: float) -> None:
        """Drop readings too old to matter, never the last few of a slow instrument, never an open window."""
        old = bisect_right(self.times, t_s - max(KEPT_WINDOWS * self.window_s, LEAST_KEPT_S))
        old = max(min(old, len(self.times) - FEWEST_KEPT), len(self.times) - MOST_KEPT, 0)
        for column in (self.times, self.heights, self.flags, self.warmth):
            del column[:old]
        self._block = max(self._block - old, 0)


@dataclass(frozen=True, slots=True)
class Noise:
    """What readings at rest do: how far one may lie from the mean, and the standard uncertainty of the mean, metres."""

    reading_m: float
    mean_m: float


@dataclass(slots=True)
class Unrest:
    """The damping of one hose: given by the instrument file, else learnt from how earlier moves died away."""

    window_s: float
    widest_m: float
    given_s: float = 0.0
    learnt_s: list[float] = field(default_factory=list)
    _quiet: list[float] = field(default_factory=list)
    _quiet_s: float = -math.inf
    _left_rest_s: float = -math.inf

    @property
    def damping_s(self) -> float:
        """Time in which motion falls to a third."""
        if self.given_s > 0.0:
            return self.given_s
        return MARGIN * max(self.learnt_s) if self.learnt_s else self.window_s / 2.0

    def left(self, trace: Trace, first: int, height_m: float, noise: Noise) -> float:
        """The most that motion before reading `first` can still be worth at the last reading, in metres.

        Every earlier distance from `height_m`, beyond the noise, is taken as a swing that has been dying away since.
        Unless the hose is known to be quick, the two windows before must also agree with this one.
        """
        end, damping = trace.times[-1], self.damping_s
        far = self._beyond(trace, first, height_m, noise.reading_m)
        moving = max((away * math.exp((trace.times[i] - end) / damping) for i, away in far), default=0.0)
        if self.given_s > 0.0 or (self.learnt_s and damping < QUICK * self.window_s):
            return moving
        return max(moving, self._unsure(trace, first, height_m) - 2.0 * MEDIANS * noise.mean_m)

    def learn(self, trace: Trace, quiet_m: float | None, noise_m: float) -> None:
        """Take in a finished window: its mean if it was quiet, None if not. Two alike make a rest to learn from."""
        alike = quiet_m is not None and (not self._quiet or abs(quiet_m - self._quiet[-1]) <= 0.5 * self.widest_m)
        if self._quiet and not alike:
            self._quiet, self._left_rest_s = [], self._quiet_s
        if quiet_m is None:
            return
        self._quiet.append(quiet_m)
        self._quiet_s = trace.times[-1]
        if len(self._quiet) == SURE_WINDOWS and self.given_s <= 0.0:
            took = self._took(trace, quiet_m, noise_m)
            if took is not None:
                self.learnt_s = [*self.learnt_s, took][-REMEMBERED:]

    def _took(self, trace: Trace, rest_m: float, noise_m: float) -> float | None:
        """Damping told from the last time readings were far from where they came to rest, and the last time near.

        None where the last move was too small to tell, or the next one has begun.
        """
        near_m = max(self.widest_m, noise_m)
        away = self._beyond(trace, len(trace.times), rest_m, 0.0)
        far_m = FAR * near_m
        last_far = max((trace.times[i] for i, d in away if d >= far_m), default=-math.inf)
        if last_far <= self._left_rest_s:
            return None
        last_near = max(trace.times[i] for i, d in away if d >= near_m)
        if last_near > trace.times[-1] - self.window_s:
            return None
        step = (trace.times[-1] - trace.times[0]) / (len(trace.times) - 1)
        return min(max(last_near - last_far, step) / math.log(far_m / near_m), LONGEST_S)

    def _unsure(self, trace: Trace, first: int, height_m: float) -> float:
        """How far the two windows before stray from this one: a swing may be caught at its turn, or creep."""
        strays = [0.0]
        end = first
        for back in range(1, SURE_WINDOWS + 1):
            begin = bisect_right(trace.times, trace.times[first] - self.window_s * back)
            if end > begin:
                strays.append(abs(sample.quantile(sorted(trace.heights[begin:end]), 0.5) - height_m))
            end = begin
        return max(strays)

    def _beyond(self, trace: Trace, stop: int, height_m: float, noise_m: float) -> list[tuple[int, float]]:
        """Readings before `stop` further than `noise_m` from a height, and how much further; single spikes left out."""
        away = [abs(h - height_m) for h in trace.heights[:stop]]
        found = []
        for i, here in enumerate(away):
            if here > noise_m:
                beside = sorted((away[max(i - 1, 0)], here, away[min(i + 1, stop - 1)]))
                if beside[1] > noise_m:
                    found.append((i, beside[1] - noise_m))
        return found
