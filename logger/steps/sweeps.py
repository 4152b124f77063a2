"""Passes over the grid: which heights a search has to try, and with how many landings each."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from logger.profile import Floats
from logger.steps.problem import HeightRule, Heights, Problem

AT_ONCE = 1 << 13
"""So many cells of a riser are worth doing at once: with fewer, calling costs more than counting."""


@dataclass(frozen=True, slots=True)
class Uppermost:
    """An uppermost landing with so many passed before it; `at_end` says whether it is the last depth, None: either."""

    passed: int
    at_end: bool | None = None


@dataclass(frozen=True, slots=True)
class Sweep:
    """One pass over the grid: the heights, and with which uppermost landings they are those of the layout.

    `counted` is false where any number of landings will do.
    """

    heights: Heights
    uppermost: tuple[Uppermost, ...] = (Uppermost(0),)
    counted: bool = False

    @property
    def rows(self) -> int:
        """Numbers of landings that may have been passed."""
        return self.uppermost[-1].passed + 1


def sweeps_of(problem: Problem, rule: HeightRule) -> list[Sweep]:
    """Every pass that may hold a layout, those with the most landings first."""
    if not rule.staged:
        heights = rule.heights(1, 2)
        return [] if heights is None else [Sweep(heights)]
    most = min(problem.searched, 1 + (problem.excess - problem.least_excess) // (problem.landing - problem.tread))
    may_end = not problem.top_is_grade and problem.last_m is None
    found: dict[Heights, list[Uppermost]] = {}
    for landings in range(1, most + 1):
        below, at_end = rule.heights(landings, landings + 1), rule.heights(landings, landings)
        either = below == at_end or not may_end
        for heights, where in [(below, None)] if either else [(at_end, True), (below, False)]:
            if heights is not None:
                found.setdefault(heights, []).append(Uppermost(landings - 1, where))
    return [Sweep(heights, tuple(ways), counted=True) for heights, ways in reversed(found.items())]


def together(problem: Problem, sweeps: list[Sweep]) -> Iterator[list[Sweep]]:
    """Sweeps of the same slopes, as many as are worth doing at once."""
    group: list[Sweep] = []
    for sweep in sweeps:
        cells = sum(one.rows for one in [*group, sweep]) * (problem.excess + problem.tread)
        if group and (cells > AT_ONCE or sweep.heights.slopes != group[0].heights.slopes):
            yield group
            group = []
        group.append(sweep)
    if group:
        yield group


def levels_of(each: Sequence[tuple[Heights, int]], slope: float) -> tuple[Floats, Floats]:
    """Levels behind the first riser with so many landings passed, and how much every further riser adds."""
    first = np.array([heights.level_m(1, passed, slope) for heights, passed in each])
    return first, np.array([heights.level_m(2, passed, slope) for heights, passed in each]) - first
