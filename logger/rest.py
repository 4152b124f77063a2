"""How fast the motion of a hose dies away, and how much of what moved before is still left in a window of readings."""

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from itertools import pairwise

from logger.reduction import sample

KEPT_WINDOWS = 20.0
LEAST_KEPT_S = 15.0
MOST_KEPT = 8192
FEWEST_KEPT = 24
SURE_WINDOWS = 2
REMEMBERED = 5
FAR = 8.0
LONGEST_S = 20.0
FORGOTTEN = 14.0
"""After as many times the damping, a metre of swing is a micrometre."""


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
        if t_s - times[self._block] >= self.window_s:
            self._forget(t_s)
            finished, self._block = range(self._block, len(times)), len(times)
            return finished
        if len(times) >= 2 * MOST_KEPT:
            self._forget(t_s)
        return None

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
        old = max(min(old, len(self.times) - FEWEST_KEPT, self._block), len(self.times) - MOST_KEPT, 0)
        for column in (self.times, self.heights, self.flags, self.warmth):
            del column[:old]
        self._block = max(self._block - old, 0)


@dataclass(frozen=True, slots=True)
class Noise:
    """What readings at rest do: how far one may lie from the mean, in metres, and their variance."""

    reading_m: float
    variance_m2: float


@dataclass(frozen=True, slots=True)
class Swing:
    """How a move died away: time in which it fell to a third, angular speed of the swing in 1/s (0 where not told)."""

    damping_s: float
    speed: float = 0.0

    def share(self, window_s: float) -> float:
        """What a swing of one at the start of a window is worth in the mean over it, by root mean square over phases.

        Exact for one that does not swing or swings often in a window; between them the lesser.
        """
        fall = window_s / self.damping_s
        creeping = -math.expm1(-fall) / fall
        return min(creeping, math.sqrt(1.0 + math.exp(-2.0 * fall)) / math.hypot(fall, self.speed * window_s))


@dataclass(slots=True)
class Unrest:
    """The damping of one hose: given by the instrument file, else learnt from how earlier moves died away."""

    window_s: float
    widest_m: float
    given_s: float = 0.0
    learnt: list[Swing] = field(default_factory=list)
    _quiet: list[float] = field(default_factory=list)
    _quiet_s: float = -math.inf
    _left_rest_s: float = -math.inf

    @property
    def swing(self) -> Swing | None:
        """The median damping of the last few moves, or that given, and their median speed; None until one was seen."""
        middle = len(self.learnt) // 2
        if not self.learnt:
            return Swing(self.given_s) if self.given_s else None
        dampings, speeds = sorted(s.damping_s for s in self.learnt), sorted(s.speed for s in self.learnt)
        return Swing(self.given_s or dampings[middle], speeds[middle])

    def left_u(self, trace: Trace, first: int, height_m: float, noise: Noise) -> float:
        """What earlier motion does to the mean of the readings from `first` on: standard uncertainty in metres.

        Earlier distances from `height_m`, beyond the noise, are swings that have been dying away since; in the mean
        they are worth what is left on the average of the window, at a phase nobody knows. Until the damping is known,
        what moved in the windows before is taken to move still: inf where these were not heard.
        """
        swing = self.swing
        if swing is None:
            return self._stray_u(trace, first, height_m, noise)
        share = swing.share(max(trace.times[-1] - trace.times[first], 1e-9))
        return self.swing_m(trace, first, height_m, noise.reading_m) * share / math.sqrt(2.0)

    def swing_m(self, trace: Trace, at: int, height_m: float, noise_m: float) -> float:
        """How far the fluid may swing about `height_m` at reading `at`, from what came before; damping known."""
        now_s, damping = trace.times[at], self.swing.damping_s if self.swing else LONGEST_S
        begin = bisect_right(trace.times, now_s - FORGOTTEN * damping, 0, at)
        far = self._beyond(trace, range(begin, at), height_m, noise_m)
        return max((away * math.exp((trace.times[i] - now_s) / damping) for i, away in far), default=0.0)

    def learn(self, trace: Trace, quiet_m: float | None, noise: Noise) -> None:
        """Take in a finished window: its mean if it was quiet, None if not. Two alike make a rest to learn from."""
        alike = quiet_m is not None and (not self._quiet or abs(quiet_m - self._quiet[-1]) <= 0.5 * self.widest_m)
        if self._quiet and not alike:
            if len(self._quiet) >= SURE_WINDOWS:
                self._left_rest_s = self._quiet_s
            self._quiet = []
        if quiet_m is None:
            return
        self._quiet.append(quiet_m)
        self._quiet_s = trace.times[-1]
        if len(self._quiet) == SURE_WINDOWS:
            took = self._took(trace, quiet_m, noise)
            if took is not None:
                self.learnt = [*self.learnt, took][-REMEMBERED:]

    def _took(self, trace: Trace, rest_m: float, noise: Noise) -> Swing | None:
        """The swing told from the energy still to come when readings were last far from rest, and when last near.

        Energy summed backwards falls smoothly whatever the phase of the swing (as Schroeder measured the reverberation
        of rooms, 1965). None where the last move was too small to tell, or the next one has begun.
        """
        near_m, heights = max(self.widest_m, noise.reading_m), trace.heights
        away = self._beyond(trace, range(len(trace.times)), rest_m, 0.0)
        last_far, far_m = max(((i, d) for i, d in away if d >= FAR * near_m), default=(None, 0.0))
        if last_far is None or trace.times[last_far] <= self._left_rest_s:
            return None
        last_near = max(i for i, d in away if d >= near_m)
        if trace.times[last_near] > trace.times[-1] - self.window_s:
            return None
        far_s, near_s = trace.times[last_far], trace.times[last_near]
        if near_s == far_s:  # gone before readings came again (several share one arrival): at most as slow as that
            next_s = trace.times[bisect_right(trace.times, far_s)]
            return Swing(min((next_s - far_s) / math.log(far_m / near_m), LONGEST_S))
        after = math.fsum(d * d - noise.variance_m2 for i, d in away if i >= last_near)
        before = after + math.fsum(d * d for i, d in away if last_far <= i < last_near)
        damping_s = 2.0 * (near_s - far_s) / math.log(max(before / max(after, near_m**2), math.e))
        clear = [i for i, d in away if last_far <= i <= last_near and d > noise.reading_m]
        turned = [trace.times[j] for i, j in pairwise(clear) if (heights[i] < rest_m) is not (heights[j] < rest_m)]
        speed = math.pi * (len(turned) - 1) / (turned[-1] - turned[0]) if turned and turned[-1] > turned[0] else 0.0
        return Swing(min(damping_s, LONGEST_S), speed)

    def _stray_u(self, trace: Trace, first: int, height_m: float, noise: Noise) -> float:
        """How far the two windows before stray from this one, by root mean square beyond the noise."""
        most, end = 0.0, first
        for back in range(1, SURE_WINDOWS + 1):
            begin = min(bisect_right(trace.times, trace.times[first] - self.window_s * back), end - 1)
            if begin <= 0:
                return math.inf
            strays = sample.without_outliers(trace.heights[begin:end], self.widest_m)
            doubt = 1.0 + math.sqrt(2.0 / len(strays))
            most = max(most, sample.mean([(h - height_m) ** 2 for h in strays]) - doubt * noise.variance_m2)
            end = begin
        return math.sqrt(most)

    def _beyond(self, trace: Trace, span: range, height_m: float, noise_m: float) -> list[tuple[int, float]]:
        """Readings further than `noise_m` from a height, and how much further; single spikes left out."""
        away = [abs(h - height_m) for h in trace.heights[span.start : span.stop]]
        found = []
        for i, here in enumerate(away):
            if here > noise_m:
                beside = sorted((away[max(i - 1, 0)], here, away[min(i + 1, len(away) - 1)]))
                if beside[1] > noise_m:
                    found.append((span.start + i, beside[1] - noise_m))
        return found
