"""Least squares with the heights eliminated: only zeros, drift and instrument errors are ever solved for together.

A point observed once says nothing of them. The covariance of the heights is a diagonal plus the few parameters:

    cov(p, q) = [p = q] / W_p + b_p Q b_q

with W the summed weights of a point, b its weighted mean row and Q the covariance of the parameters.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.profile import Floats
from logger.reduction.network import Network
from logger.reduction.points import Point

Row = tuple[NDArray[np.intp], Floats]


@dataclass(frozen=True, slots=True)
class Spread:
    """Covariance of the heights, never written out: own variances (n,), rows of the parameters, their covariance."""

    own_m2: Floats
    rows: tuple[Row, ...]
    parameters: Floats
    factor: float = 1.0

    def covariance(self, p: int, q: int) -> float:
        """Covariance of the heights of points p and q, in m2."""
        (i, a), (j, b) = self.rows[p], self.rows[q]
        shared = float(a @ self.parameters[np.ix_(i, j)] @ b)
        return self.factor * (shared + (float(self.own_m2[p]) if p == q else 0.0))

    def matrix(self, which: Sequence[int]) -> Floats:
        """Covariance of some points, in full, in their order."""
        dense = np.zeros((len(which), len(self.parameters)))
        for k, p in enumerate(which):
            np.add.at(dense[k], self.rows[p][0], self.rows[p][1])
        full: Floats = self.factor * (dense @ self.parameters @ dense.T + np.diag(self.own_m2[list(which)]))
        return full


@dataclass(frozen=True, slots=True)
class Solution:
    """Corrections to the approximate heights (by point), the parameters, residuals and what they could have been.

    `free` (n,) is the variance a residual has if all is well; `quadratic` the weighted sum of squares, priors
    included.
    """

    heights: Floats
    parameters: Floats
    residuals: Floats
    free: Floats
    quadratic: float
    spread: Spread


def solve(network: Network, points: Sequence[Point]) -> Solution:
    """Solve for parameters, then heights, residuals and variances."""
    normal, right = network.prior.copy(), np.zeros(len(network.prior))
    summed: list[tuple[float, Row, float]] = []
    _add_rows(network, points, normal, right)
    for point in points:
        summed.append(_mean_row(network, point))
        total, (columns, row), mean = summed[-1]
        if not point.fixed and len(point.seen) + (point.known_m is not None) > 1:
            normal[np.ix_(columns, columns)] -= total * np.outer(row, row)
            right[columns] -= total * row * mean
    _pin_idle(normal)
    covariance = np.linalg.inv(normal)
    covariance = (covariance + covariance.T) / 2.0
    x = covariance @ right
    heights, own = np.zeros(len(points)), np.zeros(len(points))
    rows: list[Row] = []
    for p, (point, (total, (columns, row), mean)) in enumerate(zip(points, summed, strict=True)):
        if point.fixed:
            rows.append((columns[:0], row[:0]))
        else:
            heights[p], own[p] = mean - row @ x[columns], 1.0 / total
            rows.append((columns, -row))
    spread = Spread(own, tuple(rows), covariance)
    residuals, free = _residuals(network, points, x, (heights, spread))
    quadratic = float(network.weight @ residuals**2 + x @ network.prior @ x)
    quadratic += sum(
        float(heights[p] / point.known_u_m) ** 2
        for p, point in enumerate(points)
        if point.known_m is not None and not point.fixed
    )
    return Solution(heights, x, residuals, free, max(quadratic, 0.0), spread)


def _add_rows(network: Network, points: Sequence[Point], normal: Floats, right: Floats) -> None:
    """Add weight times row squared for every observation that another one of its point, or a given height, checks."""
    used = [i for p in points if p.known_m is not None or len(p.seen) > 1 for i in p.seen]
    if not used:
        return
    index, value = network.index[used], network.value[used]
    weighted = value * network.weight[used, None]
    size = len(right)
    flat = (index[:, :, None] * size + index[:, None, :]).ravel()
    products = (weighted[:, :, None] * value[:, None, :]).ravel()
    normal += np.bincount(flat, products, size * size).reshape(size, size)
    right += np.bincount(index.ravel(), (weighted * network.y[used, None]).ravel(), size)


def _mean_row(network: Network, point: Point) -> tuple[float, Row, float]:
    """Summed weight, weighted mean row (unique columns) and weighted mean observation of a point."""
    seen = point.seen
    weight = network.weight[seen]
    total = float(weight.sum())
    if point.known_m is not None and not point.fixed:
        total += point.known_u_m**-2
    share = weight / total
    columns, where = np.unique(network.index[seen], return_inverse=True)
    shares = (network.value[seen] * share[:, None]).ravel()
    row = np.bincount(where.ravel(), shares, len(columns)).astype(np.float64)
    return total, (columns.astype(np.intp), row), float(share @ network.y[seen])


def _pin_idle(normal: Floats) -> None:
    """Give parameters that nothing touches a unit weight, so that they stay zero."""
    idle = np.flatnonzero(np.diag(normal) == 0.0)
    normal[idle, idle] = 1.0


def _residuals(
    network: Network, points: Sequence[Point], x: Floats, found: tuple[Floats, Spread]
) -> tuple[Floats, Floats]:
    heights, spread = found
    fitted = (network.value * x[network.index]).sum(axis=1)
    residuals, free = np.zeros(len(network.y)), np.zeros(len(network.y))
    for p, point in enumerate(points):
        seen = point.seen
        residuals[seen] = network.y[seen] - heights[p] - fitted[seen]
        if len(seen) == 1 and point.known_m is None:
            residuals[seen] = 0.0
            continue
        columns, where = np.unique(network.index[seen], return_inverse=True)
        dense = np.zeros((len(seen), len(columns)))
        np.add.at(
            dense, (np.repeat(np.arange(len(seen)), network.index.shape[1]), where.ravel()), network.value[seen].ravel()
        )
        if not point.fixed:
            dense += spread.rows[p][1]
        shared = ((dense @ spread.parameters[np.ix_(columns, columns)]) * dense).sum(axis=1)
        free[seen] = np.maximum(1.0 / network.weight[seen] - spread.own_m2[p] - shared, 0.0)
    return residuals, free
