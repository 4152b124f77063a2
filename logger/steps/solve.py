"""From a ground profile and a brief to every layout, best first, and every count that cannot be, with its causes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import ceil, floor

from logger.profile import Profile
from logger.steps.bounds import MOST_RISERS, Bounds, Side, bounds_of, counts_tried, most_risers
from logger.steps.brief import Brief, Kind
from logger.steps.chances import certainty, flip_m, rise_u_m
from logger.steps.findings import judged
from logger.steps.layout import Layout
from logger.steps.measured import flights_of
from logger.steps.option import Cause, Landing, Option, Options, Refusal
from logger.steps.problem import SAME_M, EqualRisers, HeightRule, Heights, Problem, heights_of
from logger.steps.question import Question, adjustments, evened, topped_up
from logger.steps.ranking import easy_step_m, ranked
from logger.steps.refusals import changes_for, no_layout
from logger.steps.rulebook import Measure, RuleSet, rule_set
from logger.steps.search import best_layout
from logger.steps.site import Site, site_of
from logger.steps.takeup import WholeUnits, as_told, counts_of_units, unit_faces
from logger.steps.words import Words

PRACTICE = "garden"
"""The set that stands in where the brief names none."""


def solve(profile: Profile | None, brief: Brief, explain: int | None = None, *, mend_all: bool = True) -> Options:
    """Every layout of a brief on a ground, best first; straight ground where the profile is None.

    What would mend a count is said of the one to explain, and of all where there is no layout at all: that may take
    many seconds, and `mend_all` does without.

    Raises WrongFile where the brief does not fit the ground: a point that was not observed, a start beyond the end.
    """
    return Solver(site_of(profile, brief), brief).options(explain, mend_all=mend_all)


@dataclass(frozen=True, slots=True)
class Found:
    """A layout, and how far its foot was moved up the line."""

    question: Question
    layout: Layout
    moved_m: float = 0.0


class Solver:
    """One brief on one site."""

    def __init__(self, site: Site, brief: Brief) -> None:
        self.site, self.brief = site, brief
        self.words = Words(brief.shown_in)
        self.practice = rule_set(PRACTICE)
        self.bounds: Bounds = bounds_of(brief, self.practice)

    def options(self, explain: int | None = None, *, mend_all: bool = True) -> Options:
        """Solve every count from two below to two above the bounds."""
        options: list[Option] = []
        refused: list[Refusal] = []
        for n in self.counts():
            answer = self.count(n)
            if isinstance(answer, Found):
                options.append(self.option(answer))
            else:
                refused.append(answer)
        every = mend_all and not options
        refused = [self.mended(one) if every or one.risers == explain else one for one in refused]
        best_first, line, trade_offs = ranked(options, self.brief)
        u_m = rise_u_m(self.site, self.brief)
        best_first = tuple(replace(one, certainty=certainty(one, u_m, self.brief)) for one in best_first)
        return Options(
            rise_m=self.site.rise_m,
            run_m=self.site.run_m,
            options=best_first,
            refused=tuple(refused),
            notes=self.site.notes,
            ranking=line,
            trade_offs=trade_offs,
            estimate_only=self.site.profile.estimate_only,
            flip_m=flip_m(best_first, self.brief, easy_step_m(self.brief)),
        )

    def counts(self) -> range:
        """The counts to try."""
        if self.brief.unit.kind is not Kind.FREE:
            every = unit_faces(self.brief)
            faces = [made for made in every if self.bounds.admit(as_told(made, self.brief))] or every
            ends = [counts_of_units(made, self.brief, self.site.rise_m, self.site.run_m) for made in faces]
            least, most = min(low for low, _ in ends), max(high for _, high in ends)
            return counts_tried(max(1, min(MOST_RISERS, ceil(least))), max(1, min(MOST_RISERS, floor(most))))
        last = most_risers(self.site.rise_m, self.bounds, self.brief.steps.fall * self.brief.steps.tread_m)
        question = self.question(1)
        low, high = last, 0
        for n in range(1, last + 1):
            heights = self.possible(question, n)
            if low == last and any(not self.bounds.broken(h, Side.MOST) for h in heights):
                low = n
            if any(not self.bounds.broken(h, Side.LEAST) for h in heights):
                high = n
        return counts_tried(low, high)

    def possible(self, question: Question, n: int) -> list[Heights]:
        """Heights of a count with the fewest and the most landings there may be."""
        return [h for problem in (*question.problems(n), *question.even(n)) for h in extremes(problem)]

    def question(self, n: int) -> Question:
        """The question for so many risers, with the most risers in a flight that brief or rule sets allow."""
        told = self.brief.steps.flight_risers
        if told:
            return Question(self.site, self.brief, told)
        free = Question(self.site, self.brief, None)
        if not self.brief.rule_sets:
            return free
        steepest = max(self.possible(free, n), key=lambda heights: heights.rise_m)
        limits = [limit for rules in self.brief.rule_sets for limit in flight_limits(rules, steepest)]
        return Question(self.site, self.brief, min(limits, default=None))

    def count(self, n: int) -> Found | Refusal:
        """The best layout of a count, or why there is none."""
        found = self.found(n)
        if found is not None:
            return found
        return Refusal(n, self.causes(n))

    def mended(self, refusal: Refusal) -> Refusal:
        """A refusal with every change that alone would make a layout, else with the first two that would together."""
        n = refusal.risers
        changes = list(changes_for(self.question(n), n, self.bounds, self.words))
        mends = tuple(each.text for each in changes if Solver(each.site, each.brief).found(n) is not None)
        for first in () if mends else changes:
            other = Solver(first.site, first.brief)
            for second in changes_for(other.question(n), n, self.bounds, self.words):
                if Solver(second.site, second.brief).found(n) is not None:
                    return replace(refusal, mends=(f"{first.text}, and with that {second.text}",))
        return replace(refusal, mends=tuple(dict.fromkeys(mends)))

    def found(self, n: int) -> Found | None:
        """The best layout of a count, if need be with the foot moved; None where there is none within the bounds."""
        question = self.question(n)
        free = self.brief.unit.kind is Kind.FREE
        if self.site.rise_m <= 0 or (free and not any(self.bounds.admit(h) for h in self.possible(question, n))):
            return None
        return self.best(question, n) or self.with_foot_moved(question, n)

    def causes(self, n: int) -> tuple[Cause, ...]:
        """Why there is no layout of a count."""
        question = self.question(n)
        possible = self.possible(question, n)
        if self.site.rise_m <= 0 or all(h.other_m <= 0 for h in possible):
            return (self.no_rise(),)
        broken = [self.bounds.causes(heights) for heights in possible]
        if self.brief.unit.kind is not Kind.FREE:
            broken = [self.unit_causes(question, n)]
        if all(broken):
            return min(broken, key=len)
        return self.bounds_alone(question, n) or no_layout(question, n, partial(self.best, n=n), self.words)

    def best(self, question: Question, n: int, moved_m: float = 0.0) -> Found | None:
        """The layout of least fit over all treads on the grid; only where there is none, one that is a remedy."""
        landing_m = self.brief.steps.landing_m
        topped = (topped_up(problem, landing_m) for problem in question.problems(n))
        for problems in (question.problems(n), topped, question.even(n)):
            best: Layout | None = None
            for problem in problems:
                layout = None if problem is None else self.solved(question, problem)
                if layout is not None and (best is None or layout.before(best)):
                    best = layout
            if best is not None:
                return Found(question, best, moved_m)
        return None

    def bounds_alone(self, question: Question, n: int) -> tuple[Cause, ...]:
        """The bounds that the best layout breaks, where there is one but for them."""
        unbounded = Solver(self.site, self.brief)
        unbounded.bounds = Bounds((), self.words)
        found = unbounded.best(question, n)
        return () if found is None else self.bounds.causes(found.layout.heights)

    def solved(self, question: Question, problem: Problem) -> Layout | None:
        """One problem; what is left below a cell is spread over the treads where the foot may not take it."""
        even = evened(problem)
        if even is not None and problem.remainder_m > self.brief.steps.start_slack_m:
            problem = even
        best: Layout | None = None
        for rule in self.height_rules(problem):
            layout = best_layout(problem, question.lattice(problem), rule)
            if layout is not None and (best is None or layout.before(best)):
                best = layout
        return best

    def height_rules(self, problem: Problem) -> Sequence[HeightRule]:
        """Faces of any height, or those that units of one height can make."""
        if self.brief.unit.kind is Kind.FREE:
            return [EqualRisers(problem, self.bounds.admit)]
        return self.unit_rules(problem)

    def unit_rules(self, problem: Problem) -> list[WholeUnits]:
        """One rule for each face that the units can make."""
        return [WholeUnits(problem, self.brief, made, self.bounds.admit) for made in unit_faces(self.brief)]

    def unit_causes(self, question: Question, n: int) -> tuple[Cause, ...]:
        """Why so many units of one height do not make the rise; none where they do."""
        problem = question.problem(n, self.brief.steps.tread_m)
        room = (problem.excess - problem.least_excess) // (problem.landing - problem.tread) + 1
        most = min(problem.searched, max(1, room))
        rules = self.unit_rules(problem)
        pairs = [(landings, flights) for landings in range(most + 1) for flights in {max(1, landings), landings + 1}]
        if any(rule.heights(*pair) is not None for rule in rules for pair in pairs):
            return ()
        nearest = min(rules, key=lambda rule: abs(rule.taken(0, 1).left_m))
        return (*self.bounds.causes(as_told(nearest.made, self.brief)), nearest.cause(self.words))

    def with_foot_moved(self, question: Question, n: int) -> Found | None:
        """The least move of the foot that makes a layout."""
        for up_m in question.foot_moves(n):
            found = self.best(question.moved(up_m), n, up_m)
            if found is not None:
                return found
        return None

    def no_rise(self) -> Cause:
        """The cause where the end is no higher than the foot, or falls take up the whole rise."""
        w, rise_m = self.words, self.site.rise_m
        if rise_m <= 0:
            text = f"the end lies {w.length(-rise_m)} below the foot: take the lower end as the foot"
        else:
            text = f"the fall of the surfaces takes up the whole rise of {w.length(rise_m)}: less fall, or less run"
        return Cause("rise", text, rise_m, self.brief.steps.fall * self.site.run_m)

    def option(self, found: Found) -> Option:
        """A layout as others read it."""
        layout, site = found.layout, found.question.site
        problem, heights = layout.problem, layout.heights
        landings = tuple(Landing(k + 1, depth.depth_m) for k, depth in enumerate(layout.depths) if depth.is_landing)
        return Option(
            risers=problem.risers,
            treads=len(layout.depths) - len(landings),
            face_m=heights.face_m,
            nosing_rise_m=heights.rise_m,
            tread_m=problem.tread_m,
            fall=heights.fall,
            landing_fall=heights.landing_fall,
            depths_m=tuple(depth.depth_m for depth in layout.depths),
            face_stations_m=tuple(site.start_m + x for x in layout.stations_m),
            tops_m=layout.tops_m,
            faces_m=layout.faces_m,
            landings=landings,
            foot_m=heights.foot_m,
            ground_above_m2=layout.above_m2,
            ground_below_m2=layout.below_m2,
            fit_m2=layout.fit_m2,
            step_rule_m=2 * heights.rise_m + problem.tread_m,
            findings=judged(layout, site, self.brief, self.practice),
            adjusted=(*adjustments(found.question, layout, found.moved_m, self.words), *self.taken_up(layout)),
            rise_m=layout.rise_m,
            run_m=site.run_m,
        )

    def taken_up(self, layout: Layout) -> tuple[str, ...]:
        """What took up the remainder of whole units."""
        if self.brief.unit.kind is Kind.FREE:
            return ()
        searched = layout.depths[: layout.problem.searched]
        landings = sum(depth.is_landing for depth in searched)
        flights = len(flights_of(layout))
        for rule in self.unit_rules(layout.problem):
            heights = rule.heights(landings, flights)
            if heights is not None and heights.like(layout.heights):
                return tuple(rule.said(layout.heights, landings, flights, self.words))
        return ()


def extremes(problem: Problem) -> list[Heights]:
    """Heights without landings, and where there is room for some, with one and with as many as there is room for."""
    most = min(problem.searched, problem.excess // (problem.landing - problem.tread)) if problem.excess > 0 else 0
    pairs = {(0, 1)} if most < 1 else {(n, f) for n in (1, most) for f in (max(1, n), n + 1)}
    return [heights_of(problem, landings, flights) for landings, flights in sorted(pairs)]


def flight_limits(rules: RuleSet, heights: Heights) -> list[int]:
    """Most risers in a flight by a rule set: as told, and as many as its rise between landings allows."""
    limits = []
    for rule in rules.rules:
        if rule.most_value is None:
            continue
        if rule.measures is Measure.FLIGHT_RISERS:
            limits.append(int(rule.most_value))
        if rule.measures is Measure.FLIGHT_RISE and heights.rise_m > 0:
            limits.append(1 + max(0, int((rule.most_value - heights.first_m + SAME_M) // heights.rise_m)))
    return limits
