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


@dataclass(frozen=True, slots=True)
class Sighting:
    """One reading, less the rod, added (+1) or taken off (-1); `setup` counts stretches of one offset."""

    sign: int
    shown_m: float
    u_m: float
    t_s: float
    setup: int


def sum_u(sightings: Sequence[Sighting], instrument: Instrument) -> float:
    """Standard uncertainty in metres of the sum of readings that cancel in pairs within each setup.

    What is common to all readings, scale and unevenness over the range, cancels as far as heights do; the zero drifts
    between the two readings of a pair, by a slope and a random walk as in `errors_of_instrument`.
    """
    variance = math.fsum(s.u_m**2 for s in sightings)
    variance += (instrument.scale_u * math.fsum(s.sign * s.shown_m for s in sightings)) ** 2
    for length, share in WAVES:
        phases = [(s.sign, 2.0 * math.pi * s.shown_m / length) for s in sightings]
        uneven = (
            sum(sign * math.sin(at) for sign, at in phases) ** 2 + sum(sign * math.cos(at) for sign, at in phases) ** 2
        )
        variance += instrument.accuracy_u_m**2 * share * uneven
    times: dict[int, list[float]] = defaultdict(list)
    for s in sightings:
        times[s.setup].append(s.t_s)
    hours = [(max(each) - min(each)) / HOUR_S for each in times.values()]
    return math.sqrt(variance + instrument.drift_u_m_per_h**2 * math.fsum(h * h + h for h in hours))
