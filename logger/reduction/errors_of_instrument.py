"""What an instrument does to all its readings alike: drift of the zero, scale, unevenness over its range, warmth.

Each is a parameter with a prior, never a bare addition to the uncertainty of a reading, so that what is common to two
readings cancels in their difference and what is not stays.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.observation import Instrument, Observation
from logger.profile import Floats
from logger.reduction.closure import shown
from logger.reduction.sightings import HOUR_S, LEAST_WARMTH_K, NEGLIGIBLE, WATER_PER_K, WAVES

NODE_S = 1.0
MOST_NODES = 16
ALL_NODES = 1200


@dataclass(frozen=True, slots=True)
class Terms:
    """Coefficients (n, k) of errors common to the whole survey, and their prior standard uncertainties (k,)."""

    coefficients: Floats
    u: Floats


def common_terms(seen: Sequence[Observation], instrument: Instrument) -> Terms:
    """Scale, unevenness over the range, and what warming does where the temperature is known.

    Heights count from the middle of the survey's readings; a scale error there is taken up by the offset of each setup.
    """
    height = np.array([shown(o) for o in seen])
    height = height - (height.min() + height.max()) / 2.0
    columns: list[Floats] = []
    priors: list[float] = []
    if instrument.scale_u > NEGLIGIBLE:
        columns.append(height)
        priors.append(instrument.scale_u)
    if instrument.accuracy_u_m > NEGLIGIBLE:
        for length, share in WAVES:
            phase = 2.0 * math.pi * height / length
            columns += [np.sin(phase), np.cos(phase)]
            priors += [instrument.accuracy_u_m * math.sqrt(share)] * 2
    if instrument.drift_u_m_per_h > NEGLIGIBLE:
        warmth = _warming(seen)
        if np.ptp(warmth) > LEAST_WARMTH_K:
            columns += [warmth, warmth * height]
            priors += [instrument.drift_u_m_per_h, WATER_PER_K]
    return Terms(np.array(columns).T.reshape(len(seen), len(columns)), np.array(priors))


def _warming(seen: Sequence[Observation]) -> Floats:
    """Temperature above that at the first reading of the setup, in kelvin; 0 where it was not measured."""
    first: dict[int, float] = {}
    warmth = np.zeros(len(seen))
    for i, one in enumerate(seen):
        if one.temperature_c is not None:
            warmth[i] = one.temperature_c - first.setdefault(one.setup, one.temperature_c)
    return warmth


@dataclass(frozen=True, slots=True)
class Drift:
    """The zero of one setup over time, linear between nodes.

    `times_s` (m) are the nodes; the first carries the offset of the setup, free; `precision` (m, m) is the prior on all
    of them, zero in the direction of a common shift.
    """

    times_s: Floats
    precision: Floats

    def place(self, t_s: float) -> tuple[int, float]:
        """Index of the node before a time, and the share of the node after it."""
        if len(self.times_s) == 1:
            return 0, 0.0
        low = int(np.clip(np.searchsorted(self.times_s, t_s, side="right") - 1, 0, len(self.times_s) - 2))
        return low, float((t_s - self.times_s[low]) / (self.times_s[low + 1] - self.times_s[low]))


def drift_of(times_s: Floats, u_m_per_h: float, most: int = MOST_NODES) -> Drift:
    """The prior of the zero over the times of one setup: a slope of `u_m_per_h`, and a random walk beside it.

    The walk is allowed as much in the first hour as the slope: a maker who states a drift has seen both.
    """
    times = np.unique(np.floor((times_s - times_s.min()) / NODE_S)) * NODE_S + times_s.min()
    if u_m_per_h <= NEGLIGIBLE or len(times) < 2:
        return Drift(times[:1], np.zeros((1, 1)))
    if len(times) > most:
        times = times[np.unique(np.linspace(0, len(times) - 1, most).round().astype(int))]
    hours = (times[1:] - times[0]) / HOUR_S
    covariance = u_m_per_h**2 * (np.outer(hours, hours) + np.minimum.outer(hours, hours))
    moves = np.linalg.inv(covariance)
    precision = np.zeros((len(times), len(times)))
    precision[1:, 1:] = moves
    precision[0, 1:] = precision[1:, 0] = -moves.sum(axis=0)
    precision[0, 0] = moves.sum()
    return Drift(times, precision)


def nodes_each(setups: int) -> int:
    """How many nodes a setup may have, so that many setups stay quick."""
    return int(np.clip(ALL_NODES // max(setups, 1), 3, MOST_NODES))
