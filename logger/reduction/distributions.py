"""Quantiles of chi-squared, Student's and Fisher's distributions, without a statistics library.

Incomplete gamma and beta functions by their continued fractions and series (Abramowitz and Stegun 6.5, 26.5), inverted
by bisection: exact to about 1e-10, slow, and needed a handful of times a run.
"""

import math
from collections.abc import Callable

STEPS = 500
SMALL = 1e-300
CLOSE = 1e-15


def chi_squared_share(x: float, freedom: float) -> float:
    """Probability that chi-squared stays below x."""
    return _gamma_share(freedom / 2.0, x / 2.0)


def chi_squared_quantile(share: float, freedom: float) -> float:
    """The x that chi-squared stays below with probability `share`."""
    return _inverse(lambda x: chi_squared_share(x, freedom), share)


def student_quantile(share: float, freedom: float) -> float:
    """The t that Student's variable stays below with probability `share` (above one half)."""
    return _inverse(lambda t: 1.0 - _beta_share(freedom / 2.0, 0.5, freedom / (freedom + t * t)) / 2.0, share)


def fisher_quantile(share: float, above: float, below: float) -> float:
    """The ratio of two variances, with `above` and `below` degrees of freedom, not passed with probability `share`."""
    return _inverse(lambda f: _beta_share(above / 2.0, below / 2.0, above * f / (above * f + below)), share)


def _inverse(rising: Callable[[float], float], share: float) -> float:
    low, high = 0.0, 1.0
    while rising(high) < share:
        low, high = high, 2.0 * high
    for _ in range(200):
        middle = (low + high) / 2.0
        low, high = (middle, high) if rising(middle) < share else (low, middle)
    return (low + high) / 2.0


def _gamma_share(a: float, x: float) -> float:
    """Regularised lower incomplete gamma function."""
    if x <= 0.0:
        return 0.0
    scale = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        term = total = 1.0 / a
        for n in range(1, STEPS):
            term *= x / (a + n)
            total += term
            if term < total * CLOSE:
                break
        return total * scale
    b = x + 1.0 - a
    return 1.0 - scale * _fraction(lambda n: (-n * (n - a), b + 2.0 * n), b)


def _beta_share(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _beta_share(b, a, 1.0 - x)
    scale = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))

    def term(n: int) -> tuple[float, float]:
        m = n // 2
        if n % 2:
            return -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0)), 1.0
        return m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m)), 1.0

    return scale / a * _fraction(term, 1.0)


def _fraction(term: Callable[[int], tuple[float, float]], first: float) -> float:
    """One over a continued fraction with partial numerators and denominators `term(n)`, by Lentz's method."""
    c, d = 1.0 / SMALL, 1.0 / (first or SMALL)
    result = d
    for n in range(1, STEPS):
        above, below = term(n)
        d = 1.0 / ((below + above * d) or SMALL)
        c = (below + above / c) or SMALL
        result *= c * d
        if abs(c * d - 1.0) < CLOSE:
            break
    return result
