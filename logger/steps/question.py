"""From a brief on a site to the problems the search can solve: depths on a grid, and what had to be adjusted for it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from logger.steps.brief import Brief
from logger.steps.fit import Lattice
from logger.steps.layout import Layout
from logger.steps.problem import SAME_M, Problem, Wish, Zone
from logger.steps.site import Site
from logger.steps.tables import Top
from logger.steps.words import Words


@dataclass(frozen=True, slots=True)
class Grid:
    """A tread in whole cells: the cell is fitted to the tread, landings are rounded up to it."""

    tread_m: float
    cell_m: float
    tread: int
    landing: int
    step: int


def grid_of(brief: Brief, tread_m: float) -> Grid:
    """The grid of one tread."""
    s = brief.steps
    tread = max(1, round(tread_m / s.grid_m))
    cell_m = tread_m / tread
    step = max(1, round(s.landing_step_m / cell_m)) if s.landing_step_m else 1
    return Grid(tread_m, cell_m, tread, math.ceil((s.landing_m - SAME_M) / cell_m), step)


class Question:
    """One brief on one site: it makes problems."""

    def __init__(self, site: Site, brief: Brief, flight_most: int | None) -> None:
        self.site, self.brief, self.flight_most = site, brief, flight_most

    def problem(self, risers: int, tread_m: float) -> Problem:
        """So many risers with treads of this depth."""
        s, grid, site = self.brief.steps, grid_of(self.brief, tread_m), self.site
        return Problem(
            line=site.line,
            rise_m=site.rise_m,
            run_m=site.run_m,
            foot_m=site.foot_m,
            risers=risers,
            top_is_grade=s.top is Top.GRADE,
            tread_m=tread_m,
            grid_m=grid.cell_m,
            tread=grid.tread,
            landing=grid.landing,
            landing_step=grid.step,
            fall=s.fall,
            landing_fall=self.brief.landing_fall,
            equal=s.equal,
            last_m=s.last_tread_m,
            last_is_landing=s.last_tread_m is not None and s.last_tread_m >= s.landing_m - SAME_M,
            flight_most=self.flight_most,
            flight_least=s.flight_min,
            weights=(s.above_weight, s.below_weight),
            wishes=tuple(
                Wish(w.station_m - site.start_m, max(w.depth_m or 0.0, s.landing_m)) for w in self.brief.landing_at
            ),
            zones=tuple(Zone(z.begin_m - site.start_m, z.end_m - site.start_m) for z in self.brief.no_landing),
        )

    def problems(self, risers: int) -> Iterator[Problem]:
        """The same count with every tread on the grid that the brief allows."""
        s = self.brief.steps
        first = self.problem(risers, s.tread_m)
        yield first
        for more in range(1, math.floor(((s.tread_max_m or s.tread_m) - s.tread_m + SAME_M) / first.grid_m) + 1):
            yield self.problem(risers, s.tread_m + more * first.grid_m)

    def even(self, risers: int) -> Iterator[Problem]:
        """The same count with the tread that divides the run, where that is off the grid and the brief allows it."""
        s = self.brief.steps
        even_m = even_tread_m(self.problem(risers, s.tread_m))
        if even_m is not None and s.tread_m + SAME_M < even_m <= (s.tread_max_m or 0.0) + SAME_M:
            yield self.problem(risers, even_m)

    def lattice(self, problem: Problem) -> Lattice:
        """The ground cut at the grid of this problem."""
        count = max(0, problem.searched * problem.tread + problem.excess)
        return self.site.line.lattice(problem.grid_m, count, problem.weights)

    def moved(self, up_m: float) -> "Question":
        """The same with the foot moved up the line."""
        return Question(self.site.moved(up_m), self.brief, self.flight_most)

    def foot_moves(self, risers: int) -> list[float]:
        """The moves of the foot that would make treads and so many least landings fill the run, the smallest first."""
        p = self.problem(risers, self.brief.steps.tread_m)
        slack_m = self.brief.steps.start_slack_m
        more_m = p.landing * p.grid_m - p.tread_m
        moves = [p.excess_m - landings * more_m for landings in range(p.searched + 1)]
        furthest_m = min([slack_m, *(wish.station_m for wish in p.wishes)]) + SAME_M
        return sorted((m for m in moves if abs(m) > SAME_M and -slack_m - SAME_M <= m <= furthest_m), key=abs)


def even_tread_m(problem: Problem) -> float | None:
    """The tread that divides the run without a landing."""
    if problem.searched < 1:
        return None
    return (problem.run_m - (problem.last_m or 0.0)) / problem.searched


def evened(problem: Problem) -> Problem | None:
    """The problem with what is left below one cell spread over all treads, where nothing else can take it."""
    even_m = even_tread_m(problem)
    if problem.excess or not problem.remainder_m or not problem.top_is_grade or even_m is None:
        return None
    return replace(problem, tread_m=even_m, grid_m=even_m / problem.tread)


def topped_up(problem: Problem, landing_m: float) -> Problem | None:
    """The problem with an uppermost landing that is whole only with what is left below one cell; None where it is not.

    Rounding the landing up to the grid must not refuse a run that holds the landing as it was asked for.
    """
    short = problem.landing - 1
    if problem.landing_step > 1 or short <= problem.tread:
        return None
    if not problem.remainder_m or short * problem.grid_m + problem.remainder_m < landing_m - SAME_M:
        return None
    return replace(problem, uppermost=short)


def adjustments(question: Question, layout: Layout, moved_m: float, words: Words) -> Iterator[str]:
    """In words, every change that made the layout close."""
    s, problem, landings = question.brief.steps, layout.problem, layout.landings
    whole = "whole cells of the grid"
    grid = grid_of(question.brief, s.tread_m)
    evenly = problem.top_is_grade and abs(problem.tread_m - s.tread_m) < s.grid_m and not problem.excess
    if abs(problem.tread_m - s.tread_m) > SAME_M:
        why = "what is left of the run is spread over all of them" if evenly else "as tread_max allows"
        yield f"treads of {words.fine(problem.tread_m)} instead of {words.fine(s.tread_m)}: {why}"
    if abs(grid.cell_m - s.grid_m) > SAME_M:
        yield f"grid of {words.fine(grid.cell_m)} instead of {words.fine(s.grid_m)}: whole cells to the tread"
    landing_m = problem.landing * problem.grid_m
    if landings and landing_m > s.landing_m + SAME_M:
        yield f"least landing of {words.fine(landing_m)} instead of {words.fine(s.landing_m)}: {whole}"
    if landings and s.landing_step_m and abs(problem.landing_step * problem.grid_m - s.landing_step_m) > SAME_M:
        step_m = problem.landing_step * problem.grid_m
        yield f"landings grow by {words.fine(step_m)} instead of {words.fine(s.landing_step_m)}: {whole}"
    if moved_m:
        way = "up" if moved_m > 0 else "down"
        yield f"foot moved {words.length(abs(moved_m))} {way} the line, to {words.station(question.site.start_m)}"
    if problem.remainder_m:
        where = "the uppermost landing" if landings and problem.excess else "the last tread"
        yield f"{words.fine(problem.remainder_m)} of the run is less than a cell of the grid: it goes into {where}"
