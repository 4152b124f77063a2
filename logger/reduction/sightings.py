"""What sums of readings are worth before all are adjusted together: the same errors, in plain Python."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from logger.observation import Instrument

HOUR_S = 3600.0
WAVES = ((8.0, 0.5), (4.0, 0.3), (2.0, 0.2))
"""Wave lengths in metres of height, and shares of variance: how unevenness over the range is taken to vary (common
practice: readings a step apart share most of it, readings over a whole rise do not)."""
WARMING_K_PER_H = 3.0
WATER_PER_K = 2.1e-4
"""Expansion of water about 20 C, per kelvin, from Tanaka's density: what an unmeasured warming does to a column."""
LEAST_WARMTH_K = 0.2
NEGLIGIBLE = 1e-8
"""In metres, per hour or per metre: what is stated as less is left out, as no arithmetic tells it from nothing."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """One reading, less the rod, added (+1) or taken off (-1); `setup` counts stretches of one offset."""

    sign: int
    shown_m: float
    u_m: float
    t_s: float
    setup: int
    temperature_c: float | None = None


def sum_u(sightings: Sequence[Sighting], instrument: Instrument) -> float:
    """Standard uncertainty in metres of the sum of readings that cancel in pairs within each setup.

    What is common to all readings, scale and unevenness over the range, cancels as far as heights do; what time and
    warmth do between the two readings of a pair is as in `errors_of_instrument`.
    """
    variance = math.fsum(s.u_m**2 for s in sightings)
    variance += (instrument.scale_u * math.fsum(s.sign * s.shown_m for s in sightings)) ** 2
    for length, share in WAVES:
        phases = [(s.sign, 2.0 * math.pi * s.shown_m / length) for s in sightings]
        uneven = (
            sum(sign * math.sin(at) for sign, at in phases) ** 2 + sum(sign * math.cos(at) for sign, at in phases) ** 2
        )
        variance += instrument.accuracy_u_m**2 * share * uneven
    if sightings and instrument.drift_u_m_per_h > NEGLIGIBLE:
        variance += _drifted(sightings, instrument.drift_u_m_per_h)
    return math.sqrt(variance)


def _drifted(sightings: Sequence[Sighting], u_m_per_h: float) -> float:
    """Variance from the drift of the zero (a slope and a random walk) and the warming of the column, told or not."""
    middle_m = (min(s.shown_m for s in sightings) + max(s.shown_m for s in sightings)) / 2.0
    setups: dict[int, list[Sighting]] = defaultdict(list)
    for s in sightings:
        setups[s.setup].append(s)
    variance = warmer_k = column_km = 0.0
    for each in setups.values():
        first = min(each, key=lambda s: s.t_s)
        hours = (max(s.t_s for s in each) - first.t_s) / HOUR_S
        risen = math.fsum(s.sign * (s.t_s - first.t_s) / HOUR_S * (s.shown_m - first.shown_m) for s in each)
        variance += u_m_per_h**2 * (hours * hours + hours) + (WARMING_K_PER_H * WATER_PER_K * risen) ** 2
        known = [(s, s.temperature_c) for s in sorted(each, key=lambda s: s.t_s) if s.temperature_c is not None]
        warmth = [(s, t_c - known[0][1]) for s, t_c in known]
        warmer_k += math.fsum(s.sign * k for s, k in warmth)
        column_km += math.fsum(s.sign * k * (s.shown_m - middle_m) for s, k in warmth)
    if abs(warmer_k) > LEAST_WARMTH_K:
        variance += (u_m_per_h * warmer_k) ** 2 + (WATER_PER_K * column_km) ** 2
    return variance
