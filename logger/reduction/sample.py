"""A handful of correlated, quantised readings of one height: centre, width, outliers, and what the mean is worth.

Pure Python with `math.fsum`, so that the same readings give the same numbers to the last bit on every machine.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

MAD_TO_SIGMA = 1.482602218505602
"""One over the upper quartile of the normal distribution: scales a median absolute deviation to sigma."""
MEAN_DEVIATION_TO_SIGMA = math.sqrt(math.pi / 2)
HAMPEL_SIGMAS = 3.0
LEAST_EFFECTIVE = 1.3
"""No window is worth less than this many independent readings, else nothing could be said of it at all."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What earlier steady windows of the same instrument taught, as a weight in readings.

    `lag_one` is the mean lag-one autocorrelation of those windows (biased low as any window's is), `variance_m2`
    their mean variance, `weight` how many readings stand behind them.
    """

    lag_one: float = 0.0
    variance_m2: float = 0.0
    weight: float = 0.0

    def after(self, lag_one: float, variance_m2: float, weight: float) -> "Memory":
        """The memory with one more window in it; old windows fade, so that it follows wind and sun."""
        kept = min(self.weight, 20.0 * weight)
        total = kept + weight
        return Memory(
            (kept * self.lag_one + weight * lag_one) / total,
            (kept * self.variance_m2 + weight * variance_m2) / total,
            total,
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


def lag_one(values: Sequence[float]) -> float:
    """Autocorrelation of neighbours about the mean of the window; zero where nothing moves."""
    centre = mean(values)
    power = math.fsum((v - centre) ** 2 for v in values)
    return math.fsum((a - centre) * (b - centre) for a, b in pairwise(values)) / power if power else 0.0


def effective_count(values: Sequence[float], memory: Memory = Memory()) -> float:
    """How many independent readings the window is worth, for noise whose correlation fades geometrically.

    The autocorrelation of a short window is biased low; this is mended as Kendall (1954) does:
    E r = rho - (1 + 4 rho)/n. The window is weighed together with what earlier windows taught, and with one window's
    worth of "uncorrelated" as prior.
    """
    n = len(values)
    if n < 3:
        return LEAST_EFFECTIVE if n > 1 else 1.0
    unbiased_prior = -1.0 / n
    total = memory.weight + 2.0 * n
    seen = (n * lag_one(values) + memory.weight * memory.lag_one + n * unbiased_prior) / total
    rho = min(max((seen + 1.0 / n) / max(1.0 - 4.0 / n, 0.25), 0.0), 0.999)
    drawn_out = 2.0 * rho / (1.0 - rho) * (1.0 - (1.0 - rho**n) / (n * (1.0 - rho)))
    return min(max(n / (1.0 + drawn_out), LEAST_EFFECTIVE), float(n))


def mean_variance(values: Sequence[float], effective: float, memory: Memory = Memory()) -> float:
    """Variance of the mean of a window from its own scatter (JCGM 100, 4.2), in the unit squared.

    Scatter about the window's own mean misses what the whole window shares, hence `effective - 1`. The scatter of
    few readings is itself uncertain (Student): the variance is that of the posterior, helped by earlier windows.
    """
    own = variance(values)
    freedom = max(effective - 1.0, 0.3)
    taught = min(memory.weight / len(values) * freedom, 4.0 * freedom)
    pooled = (freedom * own + taught * memory.variance_m2) / (freedom + taught)
    heavy = freedom + taught
    student = heavy / (heavy - 2.0) if heavy > 4.0 else 2.0
    return pooled / freedom * student


def resolution_variance(values: Sequence[float], resolution: float) -> float:
    """Variance left by rounding to steps of `resolution` (JCGM 100, F.2.2.1: a step squared over 12).

    Noise wider than the step averages the rounding out: what stays of it falls off as the characteristic function of
    the noise at the first harmonic (Widrow), exp(-(2 pi sigma / step)^2) in variance.
    """
    if resolution <= 0.0:
        return 0.0
    whole = resolution**2 / 12.0
    noise = max(variance(values) - whole, 0.0)
    return whole * math.exp(-((2.0 * math.pi / resolution) ** 2) * noise)
