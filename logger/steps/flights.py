"""The least of what flights may end with, as their first riser is taken from the uppermost down."""

import numpy as np
from numpy.typing import NDArray

from logger.profile import Floats


class Flights:
    """Flights of `least` to `most` risers, `most` None where any number will do."""

    def __init__(self, least: int, most: int | None, shape: tuple[int, ...]) -> None:
        self.least, self.most, self.turn = least, most, 0
        self.recent = np.full((most or least, *shape), np.inf)
        self.older = np.full(shape, np.inf)
        """The least of those that are old enough for any flight; not used where flights are limited."""

    def bar(self, columns: NDArray[np.bool_]) -> None:
        """No flight may go on there to the ends taken so far."""
        self.recent[..., columns] = np.inf
        self.older[..., columns] = np.inf

    def end_with(self, cost: Floats, rows: slice) -> None:
        """What a flight costs that ends with one riser further down; it can only in some rows."""
        self.turn += 1
        if self.most is None and self.least == 1:
            np.minimum(self.older[rows], cost, out=self.older[rows])
            return
        latest = self.recent[self.turn % len(self.recent)]
        latest[...] = np.inf
        latest[rows] = cost
        if self.most is None:
            np.minimum(self.older, self.recent[(self.turn + 1) % self.least], out=self.older)

    def cheapest(self, rows: slice) -> Floats:
        """The least over all flights that begin with the riser taken last, in some rows."""
        if self.most is None:
            return self.older[rows]
        if self.least == 1:
            return np.asarray(self.recent[:, rows].min(axis=0))
        ages = np.arange(self.least - 1, self.most)
        return np.asarray(self.recent[(self.turn - ages) % self.most, rows].min(axis=0))
