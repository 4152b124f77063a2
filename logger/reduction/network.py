"""The observation equations: what each reading says of its point, of the zero of its setup and of the instrument.

    shown = height of the point + zero of the setup at that time + errors of the instrument + noise

Rows are sparse: two nodes of the drift, one of warming, and the few terms common to all.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.observation import Instrument, Observation
from logger.profile import Floats
from logger.reduction.closure import Approximate, shown
from logger.reduction.errors_of_instrument import Drift, common_terms, drift_of, nodes_each
from logger.reduction.points import Point
from logger.reduction.sightings import HOUR_S, NEGLIGIBLE, WARMING_K_PER_H, WATER_PER_K

LEAST_U_M = 1e-6


@dataclass(frozen=True, slots=True)
class Network:
    """n observations of determined points, with P parameters besides the heights.

    `index` and `value` (n, w) are the rows; `y` (n,) the observed less the approximate; `weight` (n,) one over
    variance; `prior` (P, P) the precision of the parameters; `drifts` and `first_node` by setup, in the order observed.
    """

    index: NDArray[np.intp]
    value: Floats
    y: Floats
    weight: Floats
    prior: Floats
    setups: tuple[int, ...]
    drifts: tuple[Drift, ...]
    first_node: tuple[int, ...]


def build(seen: Sequence[Observation], points: Sequence[Point], book: Approximate, instrument: Instrument) -> Network:
    """Set the equations up; every observation must be of a point and in a setup that the book determines."""
    setups = tuple(dict.fromkeys(o.setup for o in seen))
    times = {s: np.array([o.t_s for o in seen if o.setup == s]) for s in setups} if len(setups) < 20 else _times(seen)
    most = nodes_each(len(setups))
    drifts = tuple(drift_of(times[s], instrument.drift_u_m_per_h, most) for s in setups)
    sizes = [len(d.times_s) + 1 for d in drifts]
    starts = tuple(int(x) for x in np.concatenate([[0], np.cumsum(sizes)[:-1]]))
    common = common_terms(seen, instrument)
    shared = sum(sizes)
    count = shared + len(common.u)
    prior = np.zeros((count, count))
    for start, drift in zip(starts, drifts, strict=True):
        end = start + len(drift.times_s)
        prior[start:end, start:end] = drift.precision
        prior[end, end] = (WARMING_K_PER_H * WATER_PER_K) ** -2
    prior[range(shared, count), range(shared, count)] = common.u**-2
    index, value = _rows(seen, dict(zip(setups, zip(starts, drifts, strict=True), strict=True)), instrument)
    tail = np.broadcast_to(np.arange(shared, count), (len(seen), count - shared))
    of = {i: p for p, point in enumerate(points) for i in point.seen}
    approximate = np.array([book.heights_m[of[i]] for i in range(len(seen))], dtype=float)
    y = np.array([shown(o) - book.offsets_m[o.setup] for o in seen]) - approximate
    weight = np.array([max(o.u_m, LEAST_U_M) for o in seen]) ** -2
    rows = np.hstack([index, tail]).astype(np.intp)
    return Network(rows, np.hstack([value, common.coefficients]), y, weight, prior, setups, drifts, starts)


def _times(seen: Sequence[Observation]) -> dict[int, Floats]:
    times: dict[int, list[float]] = {}
    for one in seen:
        times.setdefault(one.setup, []).append(one.t_s)
    return {s: np.array(t) for s, t in times.items()}


def _rows(
    seen: Sequence[Observation], setups: dict[int, tuple[int, Drift]], instrument: Instrument
) -> tuple[NDArray[np.intp], Floats]:
    """The part of each row that belongs to its setup: two nodes of the drift, and warming times height."""
    index = np.zeros((len(seen), 3), dtype=np.intp)
    value = np.zeros((len(seen), 3))
    first: dict[int, Observation] = {}
    for i, one in enumerate(seen):
        start, drift = setups[one.setup]
        node, share = drift.place(one.t_s)
        begun = first.setdefault(one.setup, one)
        last = len(drift.times_s) - 1
        index[i] = start + node, start + min(node + 1, last), start + last + 1
        hours = (one.t_s - begun.t_s) / HOUR_S if instrument.drift_u_m_per_h > NEGLIGIBLE else 0.0
        value[i] = 1.0 - share, share, hours * (shown(one) - shown(begun))
    return index, value
