"""What rules and practice say to one layout: each rule judged by its own measure."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from logger.steps.brief import Brief
from logger.steps.layout import Layout
from logger.steps.measured import Flight, flights_of, landing_depths_m, pitch_degrees, spread
from logger.steps.option import Finding, Verdict
from logger.steps.problem import SAME_M
from logger.steps.rulebook import LENGTHS, SLOPES, Known, Measure, Rule, RuleSet
from logger.steps.sides import Sides, sides_of
from logger.steps.site import Site
from logger.steps.words import Words, counted

EARLY = 2 / 3
"""Where the plan alone uses more than this share of an evenness, building well is left too little."""


def judged(layout: Layout, site: Site, brief: Brief, practice: RuleSet) -> tuple[Finding, ...]:
    """Every finding on a layout: the named sets, or common practice that only informs, then notes of the trade."""
    case = Case(layout, brief, sides_of(layout, site, brief))
    found: list[Finding] = []
    for rules in brief.rule_sets or (practice,):
        for rule in rules.rules:
            finding = case.judge(rules, rule)
            if finding is not None:
                found.append(finding if brief.rule_sets else _informing(finding))
    return (*found, *case.notes())


def _informing(finding: Finding) -> Finding:
    """A finding that only informs: it warns where it would fail."""
    status = Verdict.WARN if finding.status is Verdict.FAIL else finding.status
    return Finding(finding.rule, finding.clause, status, finding.value, finding.limit, finding.text)


@dataclass
class Case:
    """One layout with what is measured on it."""

    layout: Layout
    brief: Brief
    sides: Sides
    flights: tuple[Flight, ...] = field(init=False)
    words: Words = field(init=False)

    def __post_init__(self) -> None:
        self.flights = flights_of(self.layout)
        self.words = Words(self.brief.shown_in)

    def judge(self, rules: RuleSet, rule: Rule) -> Finding | None:
        """One rule; None where it has nothing to say on this layout."""
        name = f"{rules.name}/{rule.name}"
        if rule.measures is Measure.NOTE:
            return Finding(name, rule.clause, Verdict.NOTE, None, None, rule.text)
        if rule.measures is Measure.HANDRAIL:
            return self._handrail(name, rule)
        if rule.measures is Measure.GUARD:
            return self._guard(name, rule)
        values = self._values(rule)
        least, most = rule.limits(self.brief.steps.width_m)
        if values is None and rule.measures is Measure.WIDTH:
            return Finding(name, rule.clause, Verdict.NOTE, None, least, "not checked: the brief gives no width")
        if values is None or (least is None and most is None):
            return None
        if rule.up_to_width_m is not None and self.brief.steps.width_m is None and values[0] < rule.up_to_width_m:
            text = f"not checked: the brief gives no width; {self._shown(rule, rule.up_to_width_m)} is always enough"
            return Finding(name, rule.clause, Verdict.NOTE, values[0], rule.up_to_width_m, text)
        return self._held(name, rule, values, (least, most))

    def _values(self, rule: Rule) -> tuple[float, float] | None:
        """Least and most of what the rule measures; None where there is none of it."""
        h, p, s = self.layout.heights, self.layout.problem, self.brief.steps
        flights = self.flights
        landings = landing_depths_m(self.layout)
        treads = [t for flight in flights for t in flight.treads_m]
        single = {
            Measure.NOSING_RISE: [h.rise_m],
            Measure.FACE: self.layout.faces_m,
            Measure.TREAD: treads,
            Measure.EVENNESS: [max(spread(flight.climbs_m) for flight in flights)],
            Measure.NEIGHBOURS: [abs(b - a) for flight in flights for a, b in pairwise(flight.climbs_m)],
            Measure.TREAD_EVENNESS: [max(spread(flight.treads_m) for flight in flights)],
            Measure.STEP_RULE: [2 * h.rise_m + p.tread_m],
            Measure.RISE_AND_TREAD: [h.rise_m + p.tread_m],
            Measure.PITCH: [pitch_degrees(self.layout)],
            Measure.FLIGHT_RISE: [flight.rise_m for flight in flights],
            Measure.FLIGHT_RISERS: [flight.risers for flight in flights],
            Measure.TOTAL_RISERS: [p.risers],
            Measure.LANDING_DEPTH: landings,
            Measure.TREAD_FALL: [h.fall] if treads else [],
            Measure.LANDING_FALL: [h.landing_fall] if landings else [],
            Measure.WIDTH: [] if s.width_m is None else [s.width_m],
        }[rule.measures]
        return (min(single), max(single)) if single else None

    def _held(
        self, name: str, rule: Rule, values: tuple[float, float], limits: tuple[float | None, float | None]
    ) -> Finding:
        (low, high), (least, most) = values, limits
        slack = SAME_M if rule.measures not in SLOPES else 1e-9
        if least is not None and low < least - slack:
            return self._said(name, rule, rule.breach, (low, least, "less than"))
        if most is not None and high > most + slack:
            return self._said(name, rule, rule.breach, (high, most, "more than"))
        if most is not None and rule.measures in (Measure.EVENNESS, Measure.NEIGHBOURS) and high > EARLY * most:
            return self._said(name, rule, Verdict.WARN, (high, most, "already most of"))
        if least is not None and rule.measures is Measure.NOSING_RISE and self.layout.heights.first_m < least - slack:
            first_m = self.layout.heights.first_m
            shown = f"{self._shown(rule, first_m)}, under {self._shown(rule, least)}"
            text = f"the first riser of a flight is a face of {shown}"
            return Finding(name, rule.clause, Verdict.WARN, first_m, least, text)
        value, limit, than = (high, most, "within") if most is not None else (low, least, "at least")
        assert limit is not None
        return self._said(name, rule, Verdict.PASS, (value, limit, than))

    def _said(self, name: str, rule: Rule, status: Verdict, held: tuple[float, float, str]) -> Finding:
        value, limit, than = held
        what = rule.measures.value.replace("_", " ")
        text = f"{what} {self._shown(rule, value)}, {than} {self._shown(rule, limit)}"
        if status is not Verdict.PASS and rule.text:
            text += f": {rule.text}"
        if rule.known is not Known.READ:
            text += f" ({rule.known})"
        return Finding(name, rule.clause, status, value, limit, text)

    def _shown(self, rule: Rule, value: float) -> str:
        if rule.measures in LENGTHS:
            return self.words.small(value)
        if rule.measures in SLOPES:
            return f"{value * 100:.2f} %"
        return f"{value:.1f}°" if rule.measures is Measure.PITCH else f"{value:g}"

    def _handrail(self, name: str, rule: Rule) -> Finding | None:
        longest = max(flight.risers for flight in self.flights)
        least = rule.least_value
        if least is None or longest < least:
            return None
        text = f"a flight of {counted(longest, 'riser')} needs: {rule.text} (not checked)"
        return Finding(name, rule.clause, rule.breach, longest, least, text)

    def _guard(self, name: str, rule: Rule) -> Finding:
        most, drop_m = rule.most_value, self.sides.drop_m
        if most is None or drop_m is None or not self.sides.complete:
            text = "not checked: observe the ground left and right of the line to know the drop beside the steps"
            return Finding(name, rule.clause, Verdict.NOTE, drop_m, most, text)
        if drop_m > most:
            text = f"the steps stand up to {self.words.length(drop_m)} above the ground beside them: {rule.text}"
            return Finding(name, rule.clause, rule.breach, drop_m, most, text)
        return Finding(
            name, rule.clause, Verdict.PASS, drop_m, most, f"drop {self.words.length(drop_m)} beside the steps"
        )

    def notes(self) -> Iterator[Finding]:
        """Notes of the trade that need no rule set."""
        lone = [flight.first for flight in self.flights if flight.risers == 1]
        if lone:
            which = ", ".join(str(k) for k in lone)
            yield self._note("lone_riser", Verdict.WARN, f"a lone riser trips people: riser {which}", 1, 2)
        climbs = tuple(c for flight in self.flights for c in flight.climbs_m)
        text = (
            f"risers differ by {self.words.small(spread(climbs))} over the whole job, first risers of flights included"
        )
        yield self._note("spread", Verdict.NOTE, text, spread(climbs))
        yield from self._unit_notes()
        if self.sides.bank_m is not None and self.sides.bank_m > 0:
            text = (
                f"the ground beside stands up to {self.words.length(self.sides.bank_m)} above the steps: hold it back"
            )
            yield self._note("soil_beside", Verdict.NOTE, text, self.sides.bank_m)
        yield from self.sides.foot_notes(self.words)

    def _unit_notes(self) -> Iterator[Finding]:
        unit = self.brief.unit
        if unit.height_m is None:
            return
        tallest = max(self.layout.faces_m)
        if tallest > unit.height_m + unit.joint_m + SAME_M:
            text = f"a face of {self.words.small(tallest)} is more than the unit of {self.words.small(unit.height_m)}"
            yield self._note("unit_height", Verdict.WARN, text, tallest, unit.height_m)
        if unit.height_tolerance_m > 0:
            more = self.words.small(unit.height_tolerance_m)
            text = f"units may be {more} higher or lower, neighbours twice that apart: measure and sort before setting"
            yield self._note("unit_tolerance", Verdict.NOTE, text, 2 * unit.height_tolerance_m)

    @staticmethod
    def _note(rule: str, status: Verdict, text: str, *held: float | None) -> Finding:
        value, limit = (*held, None, None)[:2]
        return Finding(rule, "", status, value, limit, text)
