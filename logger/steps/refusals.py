"""Why a count has no layout on the grid, and the smallest changes that would mend it."""

from collections.abc import Callable, Iterator
from math import ceil

from logger.steps.brief import Brief
from logger.steps.option import Cause, Refusal
from logger.steps.problem import SAME_M, Problem
from logger.steps.question import Question
from logger.steps.words import Words, counted

Solved = Callable[[Question], object]
"""Solve a count on another question; None where there is no layout."""


def no_layout(question: Question, n: int, solved: Solved, words: Words) -> Refusal:
    """The refusal of a count within the bounds."""
    problem = question.problem(n, question.brief.steps.tread_m)
    causes = tuple(_room(problem, words)) or tuple(_rules(question, problem, solved, words))
    if not causes:
        causes = (Cause("run", "these limits together leave no layout on the grid", problem.run_m),)
    return Refusal(n, causes, tuple(_mends(question, problem, words)))


def _room(p: Problem, words: Words) -> Iterator[Cause]:
    """Causes in the run alone."""
    treads = counted(p.searched, "tread")
    need_m = p.searched * p.tread_m + (p.last_m or 0.0)
    more_m = p.landing * p.grid_m - p.tread_m
    if p.excess_m < -SAME_M:
        text = f"{treads} of {words.small(p.tread_m)} need {words.length(need_m)}: the run is {words.length(p.run_m)}"
        yield Cause("run", text, p.run_m, need_m)
    elif p.excess and p.excess < p.landing - p.tread:
        text = (
            f"{treads} of {words.small(p.tread_m)} leave {words.length(p.excess_m)} of the run: "
            f"a landing takes {words.length(more_m)} more than a tread"
        )
        yield Cause("run", text, p.excess_m, more_m)
    elif p.searched == 0 and p.run_m - (p.last_m or 0.0) > SAME_M:
        yield Cause("run", "one riser that meets the grade has no depth to fill the run", p.run_m, 0.0)


def _rules(question: Question, p: Problem, solved: Solved, words: Words) -> Iterator[Cause]:
    """Causes in what must or must not be: each whose loosening alone gives a layout."""
    brief = question.brief
    if p.flight_most is not None and solved(Question(question.site, brief, None)) is not None:
        needed = ceil(p.risers / p.flight_most) - 1
        text = (
            f"at most {counted(p.flight_most, 'riser')} in a flight ask for {counted(needed, 'landing')}: "
            f"they need {words.length(needed * (p.landing * p.grid_m - p.tread_m))} beyond the treads, "
            f"the run leaves {words.length(p.excess_m)}"
        )
        yield Cause("flight_risers", text, p.risers, p.flight_most)
    for rule, looser, text in _looser(brief, p):
        if solved(Question(question.site, looser, question.flight_most)) is not None:
            yield Cause(rule, text, None, None)


def _looser(brief: Brief, p: Problem) -> Iterator[tuple[str, Brief, str]]:
    def without(**changes: object) -> Brief:
        return brief.model_copy(update=changes)

    s = brief.steps
    if p.flight_least > 1:
        looser = s.model_copy(update={"flight_min": 1})
        yield "flight_min", without(steps=looser), f"every flight must have at least {counted(p.flight_least, 'riser')}"
    if p.landing_step > 1:
        looser = s.model_copy(update={"landing_step_m": 0.0})
        yield "landing_step", without(steps=looser), "no whole multiples of landing_step fill the run"
    if p.wishes:
        yield "landing_at", without(landing_at=()), "no layout has landings at the stations where they are wanted"
    if p.zones:
        yield "no_landing", without(no_landing=()), "no layout keeps landings off the stretches where none may be"


def _mends(question: Question, p: Problem, words: Words) -> Iterator[str]:
    """The smallest changes that would give this count a layout with treads alone, or with one landing more."""
    s = question.brief.steps
    free = p.run_m - (p.last_m or 0.0)
    if p.searched > 0 and free > 0 and (p.flight_most is None or p.risers <= p.flight_most):
        yield f"equal treads of {words.small(free / p.searched)}" + _allow(free / p.searched, s.tread_m)
    least = p.landing * p.grid_m - p.tread_m
    needed = 0 if p.flight_most is None else ceil(p.risers / p.flight_most) - 1
    for landings in sorted({needed, max(1, needed)}):
        change_m = landings * least - p.excess_m
        if landings > p.searched or abs(change_m) <= SAME_M:
            continue
        way, foot = ("more", "down") if change_m > 0 else ("less", "up")
        room = f"{counted(landings, 'landing')} of {words.length(p.landing * p.grid_m)}" if landings else "treads alone"
        moved = f"the foot moved {words.length(abs(change_m))} {foot} the line"
        yield f"{words.length(abs(change_m))} {way} run, or {moved} (start_slack): {room}"
    if 0 < p.excess < p.landing - p.tread:
        yield f"a landing from {words.length(p.tread_m + p.excess_m)} on: less than the brief allows"


def _allow(even_m: float, tread_m: float) -> str:
    return " (tread_max)" if even_m > tread_m else " (tread)"
