"""A handful of correlated, quantised readings of one height: centre, width, outliers, and what the mean is worth.

Pure Python with `math.fsum`, so that the same readings give the same numbers to the last bit on every machine.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

HARMONICS = 9
WHOLE = math.fsum(1.0 / k**2 for k in range(1, HARMONICS))
MAD_TO_SIGMA = 1.482602218505602
"""One over the upper quartile of the normal distribution: scales a median absolute deviation to sigma."""
MEAN_DEVIATION_TO_SIGMA = math.sqrt(math.pi / 2)
HAMPEL_SIGMAS = 3.0
HALVES = 4.0
"""Variance of the difference of the means of two halves, in variances of the whole mean."""
PRIOR_RHO = 0.7
PRIOR_STEPS = 3.0
REMEMBERED_WINDOWS = 20.0
MOST_RHO = 0.99
SURE_OF_NOISE = 4.0
"""Windows that must have been seen before their scatter tells how wide the noise of a coarse instrument is."""
LEAST_EFFECTIVE = 1.2
"""No window is worth less than this many independent readings, else nothing could be said of it at all."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What earlier steady windows of the same instrument taught: sums over them, fading so that wind and sun show.

    `power_m2` is the summed squared deviation, `lagged_m2` that of neighbours, `weight` how many readings they are;
    `stepped_m2` the summed squared step of the mean from a window to the next one at the same rest, of `steps` such.
    """

    power_m2: float = 0.0
    lagged_m2: float = 0.0
    weight: float = 0.0
    stepped_m2: float = 0.0
    steps: float = 0.0

    def after(self, values: Sequence[float], before_m: float | None = None) -> "Memory":
        """The memory with one more window in it; `before_m` is the mean of the window just before, at the same rest."""
        kept = 1.0 - 1.0 / REMEMBERED_WINDOWS
        power, lagged = moments(values)
        step = 0.0 if before_m is None else (mean(values) - before_m) ** 2
        return Memory(
            kept * self.power_m2 + power,
            kept * self.lagged_m2 + lagged,
            kept * self.weight + len(values),
            kept * self.stepped_m2 + step,
            kept * self.steps + (before_m is not None),
        )


def mean(values: Sequence[float]) -> float:
    """Arithmetic mean, correctly rounded in the sum."""
    return math.fsum(values) / len(values)


def quantile(ordered: Sequence[float], share: float) -> float:
    """Value below which `share` of sorted values lie, linear between neighbours."""
    place = share * (len(ordered) - 1)
    low = math.floor(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (place - low) * (ordered[high] - ordered[low])


def width(values: Sequence[float]) -> float:
    """Width of the middle 90 % of values: what the user calls the spread, blind to single spikes."""
    ordered = sorted(values)
    return quantile(ordered, 0.95) - quantile(ordered, 0.05)


def without_outliers(values: Sequence[float], resolution: float = 0.0) -> list[float]:
    """Values within three robust sigmas of the median (Hampel), in their order.

    Sigma is 1.4826 times the median absolute deviation; where more than half of the values are equal, as with a
    coarse instrument, 1.2533 times the mean absolute deviation. One step of the instrument is never an outlier.
    """
    ordered = sorted(values)
    centre = quantile(ordered, 0.5)
    away = sorted(abs(v - centre) for v in values)
    sigma = MAD_TO_SIGMA * quantile(away, 0.5) or MEAN_DEVIATION_TO_SIGMA * mean(away)
    limit = max(HAMPEL_SIGMAS * sigma, 1.001 * resolution)
    return [v for v in values if abs(v - centre) <= limit]


def variance(values: Sequence[float]) -> float:
    """Mean squared deviation from the mean (divided by n, not n - 1)."""
    centre = mean(values)
    return math.fsum((v - centre) ** 2 for v in values) / len(values)


def moments(values: Sequence[float]) -> tuple[float, float]:
    """Summed squares about the mean of the window, and summed products of neighbours."""
    centre = mean(values)
    power = math.fsum((v - centre) ** 2 for v in values)
    return power, math.fsum((a - centre) * (b - centre) for a, b in pairwise(values))


def effective_count(values: Sequence[float], memory: Memory = Memory()) -> float:
    """How many independent readings the window is worth, for noise whose correlation fades geometrically.

    The window is weighed together with what earlier windows taught, and with one window's worth of PRIOR_RHO. How the
    mean steps from window to window at rest shows slow noise that no single window shows; it counts as it is seen.
    """
    n = len(values)
    if n < 3:
        return LEAST_EFFECTIVE if n > 1 else 1.0
    power, lagged = moments(values)
    all_power = 2.0 * power + memory.power_m2
    if all_power == 0.0:
        return float(n)
    seen = (lagged + power * lag_one_expected(PRIOR_RHO, n) + memory.lagged_m2) / all_power
    rho = correlation(seen, lag_one_expected, n)
    if memory.steps > 0.0:
        scatter = (power + memory.power_m2) / (n + memory.weight)
        due = PRIOR_STEPS * step_expected(rho, n)
        rho = correlation((memory.stepped_m2 / scatter + due) / (memory.steps + PRIOR_STEPS), step_expected, n)
    return max(1.0 / mean_share(rho, n), LEAST_EFFECTIVE)


def mean_share(rho: float, n: int) -> float:
    """Variance of the mean of n readings over that of one, where correlation falls by `rho` from each to the next."""
    drawn_out = 2.0 * rho / (1.0 - rho) * (1.0 - (1.0 - rho**n) / (n * (1.0 - rho)))
    return (1.0 + drawn_out) / n


def lag_one_expected(rho: float, n: int) -> float:
    """The lag-one autocorrelation a window of n shows about its own mean, on average: less than `rho`, even below 0."""
    share = mean_share(rho, n)
    with_mean = (1.0 - rho**n) / (n * (1.0 - rho))
    return ((n - 1) * (rho + share) - 2.0 * n * share + 2.0 * with_mean) / (n * (1.0 - share))


def step_expected(rho: float, n: int) -> float:
    """The mean square step between the means of two windows of n running, over the variance within a window."""
    share = mean_share(rho, n)
    return 4.0 * (share - mean_share(rho, 2 * n)) / (1.0 - share)


def correlation(seen: float, expected: Callable[[float, int], float], n: int) -> float:
    """The `rho` for which `expected` is what was seen, by bisection; none where less was seen than of none."""
    low, high = 0.0, MOST_RHO
    for _ in range(30):
        middle = (low + high) / 2.0
        low, high = (middle, high) if expected(middle, n) < seen else (low, middle)
    return low


def mean_variance(values: Sequence[float], effective: float, memory: Memory = Memory()) -> float:
    """Variance of the mean of a window from its own scatter (JCGM 100, 4.2), in the unit squared.

    Scatter about the window's own mean misses what the whole window shares, hence `effective - 1`. The scatter of
    few readings is itself uncertain (Student): the variance is that of the posterior, helped by earlier windows.
    """
    own = variance(values)
    freedom = max(effective - 1.0, LEAST_EFFECTIVE - 1.0)
    windows = memory.weight / len(values) if memory.weight else 0.0
    taught = 0.5 * windows * freedom
    learnt = memory.power_m2 / memory.weight if memory.weight else 0.0
    heavy = freedom + taught
    student = heavy / (heavy - 2.0) if heavy > 4.0 else 2.0
    return (freedom * own + taught * learnt) / heavy / freedom * student


def creep(values: Sequence[float], noise: float) -> float:
    """How far the mean moved from the first half of a window to the second, beyond a squared `noise`."""
    half = len(values) // 2
    return math.sqrt(max((mean(values[-half:]) - mean(values[:half])) ** 2 - noise, 0.0))


def resolution_variance(values: Sequence[float], resolution: float, memory: Memory = Memory()) -> float:
    """Variance left by rounding to steps of `resolution` (JCGM 100, F.2.2.1: a step squared over 12).

    Noise spreads readings over several steps and averages the rounding out: what stays falls off as the characteristic
    function of the noise at the harmonics of the step (Widrow). One window on fewer than three steps cannot tell how
    wide the noise is, several windows can: over all places between two steps, scatter and what stays of the rounding
    are together the noise squared and a step squared over 12.
    """
    if resolution <= 0.0:
        return 0.0
    whole = resolution**2 / 12.0
    ordered = sorted(values)
    if quantile(ordered, 0.9) - quantile(ordered, 0.1) >= 1.5 * resolution:
        return rounding_left(max(variance(values) - whole, 0.0) ** 0.5, resolution)
    if memory.weight < SURE_OF_NOISE * len(values):
        return whole
    scatter = memory.power_m2 / memory.weight
    low, high = 0.0, resolution
    for _ in range(30):
        middle = (low + high) / 2.0
        seen = middle**2 + whole - rounding_left(middle, resolution)
        low, high = (middle, high) if seen < scatter else (low, middle)
    return rounding_left(low, resolution)


def rounding_left(noise: float, resolution: float) -> float:
    """Mean square of what rounding does to the mean of many readings with normal noise, over all places in a step."""
    turn = (2.0 * math.pi * noise / resolution) ** 2
    harmonics = math.fsum(math.exp(-turn * k * k) / k**2 for k in range(1, HARMONICS))
    return resolution**2 / 12.0 * harmonics / WHOLE
