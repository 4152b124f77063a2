"""Why a count has no layout on the grid, and the smallest changes that may mend it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import ceil, copysign

from logger.errors import WrongFile
from logger.steps.bounds import Bounds
from logger.steps.brief import Brief, Kind, tread_of_unit
from logger.steps.option import Cause
from logger.steps.problem import SAME_M, Problem, heights_of
from logger.steps.question import Question, even_tread_m
from logger.steps.site import Site, site_of
from logger.steps.takeup import WholeUnits, as_told, unit_faces
from logger.steps.words import Words, counted

Solved = Callable[[Question], object]
"""Solve a count on another question; None where there is no layout."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a brief that may make a layout, in words and done."""

    text: str
    site: Site
    brief: Brief


def no_layout(question: Question, n: int, solved: Solved, words: Words) -> tuple[Cause, ...]:
    """Why a count within the bounds has no layout on the grid."""
    problem = question.problem(n, question.brief.steps.tread_m)
    causes = tuple(_room(problem, words)) or tuple(_rules(question, problem, solved, words))
    return causes or (Cause("run", "these limits together leave no layout on the grid", problem.run_m),)


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


def changes_for(question: Question, n: int, bounds: Bounds, words: Words) -> Iterator[Change]:
    """The smallest change of each kind that may give a count a layout; lengths are such that they can be typed."""
    problem = question.problem(n, question.brief.steps.tread_m)
    yield from _of_rise(question, problem, bounds, words)
    yield from _of_treads(question, problem, words)
    yield from _of_run(question, problem, words)
    if 0 < problem.excess < problem.landing - problem.tread:
        landing_m = words.rounded(problem.tread_m + problem.excess_m, up=False)
        if landing_m > max(problem.tread_m, question.brief.steps.tread_max_m or 0.0) + SAME_M:
            text = f"a landing from {words.length(landing_m)} on: less than the brief allows"
            yield from _changed(question, text, landing_m=landing_m)
    if question.brief.steps.flight_risers and n > 1:
        room = max(0, problem.excess) // (problem.landing - problem.tread)
        most = ceil(n / (room + 1))
        yield from _changed(question, f"flights of up to {counted(most, 'riser')} (flight_risers)", flight_risers=most)


def _changed(question: Question, text: str, **fields: object) -> Iterator[Change]:
    """The change of some fields of `[steps]`, where the brief can still be asked of the ground."""
    brief = question.brief.model_copy(update={"steps": question.brief.steps.model_copy(update=fields)})
    site = question.site
    try:
        if "run_m" in fields:
            site = site_of(None if site.profile.estimate_only else site.profile, brief)
    except WrongFile:
        return
    yield Change(text, site, brief)


def _of_rise(question: Question, p: Problem, bounds: Bounds, words: Words) -> Iterator[Change]:
    change_m = _change_of_rise_m(question, p, bounds)
    if not change_m:
        return
    way, foot, head = ("less", "raised", "lowered") if change_m < 0 else ("more", "lowered", "raised")
    more_m = words.rounded(abs(change_m), up=True)
    text = f"{words.length(more_m)} {way} rise: the grade at the foot {foot}, or at the head {head}, by as much"
    head_m = question.site.head_m + copysign(more_m, change_m)
    yield Change(text, replace(question.site, head_m=head_m), question.brief)


def _change_of_rise_m(question: Question, p: Problem, bounds: Bounds) -> float:
    """The least change of the rise that a count asks for; zero where none would help."""
    brief = question.brief
    if brief.unit.kind is Kind.FREE:
        return bounds.change_m(heights_of(p, 0, 1), p.risers)
    faces = [made for made in unit_faces(brief) if bounds.admit(as_told(made, brief))]
    rules = [WholeUnits(p, brief, made, bounds.admit) for made in faces]
    return min((-rule.taken(*pair).left_m for rule in rules for pair in ((0, 1), (1, 2))), key=abs, default=0.0)


def _of_treads(question: Question, p: Problem, words: Words) -> Iterator[Change]:
    even_m = even_tread_m(p)
    if even_m is None or even_m <= 0:
        return
    up = even_m > p.tread_m
    even_m = words.rounded(even_m, up=up, small=True)
    field, fields = (
        ("tread_max", {"tread_max_m": even_m}) if up else ("tread", {"tread_m": even_m, "tread_max_m": None})
    )
    told_by_unit = tread_of_unit(question.brief.unit) is not None and not up
    if 0 < even_m < question.brief.steps.landing_m - SAME_M and not told_by_unit:
        yield from _changed(question, f"equal treads of {words.small(even_m)} ({field})", **fields)


def _of_run(question: Question, p: Problem, words: Words) -> Iterator[Change]:
    s, least_m = question.brief.steps, p.landing * p.grid_m - p.tread_m
    needed = 0 if p.flight_most is None else ceil(p.risers / p.flight_most) - 1
    for landings in sorted({needed, max(1, needed)}):
        change_m = landings * least_m - p.excess_m
        if landings > p.searched or abs(change_m) <= SAME_M:
            continue
        room = f"{counted(landings, 'landing')} of {words.length(p.landing * p.grid_m)}" if landings else "treads alone"
        more_m = copysign(words.rounded(abs(change_m), up=change_m > 0), change_m)
        way, foot = ("more", "down") if change_m > 0 else ("less", "up")
        if p.run_m + more_m > SAME_M:
            text = f"{words.length(abs(more_m))} {way} run: {room}"
            yield from _changed(question, text, run_m=p.run_m + more_m)
        slack_m = words.rounded(abs(change_m), up=True)
        text = f"the foot moved {words.length(slack_m)} {foot} the line (start_slack): {room}"
        yield from _changed(question, text, start_slack_m=max(slack_m, s.start_slack_m))
