"""Rules held against finished steps: each by its own measure, with the uncertainty of what was observed."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from logger.built_heights import Estimate, Levels, Status, judge, worst
from logger.construction import Part
from logger.setout import Mark, SetOut
from logger.steps.option import Finding, Verdict
from logger.steps.rulebook import SLOPES, Measure, Rule, RuleSet

VERDICTS = {Status.PASS: Verdict.PASS, Status.FAIL: Verdict.FAIL, Status.UNSURE: Verdict.WARN}
SAID = {Status.PASS: "within", Status.FAIL: "outside", Status.UNSURE: "too close to tell against"}
MM = 1000


@dataclass(frozen=True, slots=True)
class Case:
    """One walk over the finished steps beside its plan; `faces` are those that were observed, by riser."""

    plan: SetOut
    levels: Levels
    faces: Mapping[int, Estimate]
    width_m: float | None = None

    def flights(self) -> Iterator[tuple[Mark, ...]]:
        """The marks between landings, from the foot up."""
        flight: list[Mark] = []
        for mark in self.plan.marks:
            flight.append(mark)
            if mark.part is Part.LANDING or mark is self.plan.marks[-1]:
                yield tuple(flight)
                flight = []

    def climbs(self, flight: tuple[Mark, ...]) -> dict[int, Estimate]:
        """What is climbed at each riser of a flight: the face first, then nosing to nosing."""
        found = {}
        for mark in flight:
            if mark is flight[0]:
                climb = self.faces.get(mark.riser)
            else:
                below, front = self.levels.front(mark.riser - 1), self.levels.front(mark.riser)
                climb = None if below is None or front is None else front.less(below)
            if climb is not None:
                found[mark.riser] = climb
        return found

    def fall(self, mark: Mark) -> Estimate | None:
        """How far the back of a step stands above its front: the water's way to the front."""
        front, back = self.levels.front(mark.riser), self.levels.form({(mark.riser, "back"): 1.0})
        return None if front is None or back is None or mark.depth_m is None else back.less(front)


def held(case: Case, rules: RuleSet) -> Iterator[tuple[Rule, Status, Finding]]:
    """Every rule of a set that heights can answer, where anything it measures was observed."""
    for rule in rules.rules:
        values = list(_values(case, rule))
        if values and (rule.least is not None or rule.most is not None):
            yield rule, *_finding(case, rules, rule, values)


def _values(case: Case, rule: Rule) -> Iterator[tuple[int, Estimate, float]]:
    """What a rule measures: riser, the length, and what it is over (1 for a length, the depth for a slope)."""
    match rule.measures:
        case Measure.FACE:
            yield from ((riser, face, 1.0) for riser, face in case.faces.items())
        case Measure.NOSING_RISE:
            for flight in case.flights():
                yield from ((riser, climb, 1.0) for riser, climb in case.climbs(flight).items())
        case Measure.EVENNESS:
            for flight in case.flights():
                for (one, a), (two, b) in combinations(case.climbs(flight).items(), 2):
                    yield max(one, two), a.less(b) if a.value_m >= b.value_m else b.less(a), 1.0
        case Measure.TREAD_FALL | Measure.LANDING_FALL:
            wanted = rule.measures is Measure.LANDING_FALL
            for mark in case.plan.marks:
                fall = case.fall(mark)
                if fall is not None and mark.depth_m is not None and (mark.part is Part.LANDING) is wanted:
                    yield mark.riser, fall, mark.depth_m


def _finding(
    case: Case, rules: RuleSet, rule: Rule, values: list[tuple[int, Estimate, float]]
) -> tuple[Status, Finding]:
    least, most = rule.least_value, rule.most_value
    statuses, furthest = [], max(values, key=lambda v: v[1].value_m / v[2])
    for _, length, over in values:
        u = case.levels.u_m(length)
        if most is not None:
            statuses.append(judge(length.value_m, most * over, u))
        if least is not None:
            statuses.append(judge(-length.value_m, -least * over, u))
    if most is None and least is not None:
        furthest = min(values, key=lambda v: v[1].value_m / v[2])
    status, limit = worst(statuses), most if most is not None else least
    riser, length, over = furthest
    value = length.value_m / over
    text = f"as built, {_shown(value, rule)} at riser {riser}: {SAID[status]} {rules.title or rules.name} {rule.clause}"
    verdict = rule.breach if status is Status.FAIL else VERDICTS[status]
    return status, Finding(f"{rules.name}/{rule.name}", rule.clause, verdict, value, limit, text.strip())


def _shown(value: float, rule: Rule) -> str:
    what = rule.measures.value.replace("_", " ")
    return f"{what} {value * 100:.1f} %" if rule.measures in SLOPES else f"{what} {value * MM:.1f} mm"


def falls(case: Case) -> Iterator[Finding]:
    """Fall of every step against its plan, and cross fall where left and right were observed."""
    for mark in case.plan.marks:
        fall = case.fall(mark)
        if fall is not None and mark.depth_m:
            assert mark.front.finished_m is not None
            assert mark.back.finished_m is not None
            slope, sure = fall.value_m / mark.depth_m, 2 * case.levels.u_m(fall) / mark.depth_m
            designed = (mark.back.finished_m - mark.front.finished_m) / mark.depth_m
            said = f"step {mark.riser} falls {slope * 100:.1f} ± {sure * 100:.1f} % to the front"
            said += f", {designed * 100:.1f} % designed"
            dry = slope - sure > 0 or designed <= 0
            text = said if dry else f"{said}: water may stand or run to the back"
            yield Finding("fall", "", Verdict.NOTE if dry else Verdict.WARN, slope, designed, text)
        across = case.levels.form({(mark.riser, "right"): 1.0, (mark.riser, "left"): -1.0})
        if across is not None and case.width_m:
            slope = across.value_m / case.width_m
            low = "left" if slope > 0 else "right"
            text = f"step {mark.riser} falls {abs(slope) * 100:.1f} % across, to the {low}"
            yield Finding("cross fall", "", Verdict.NOTE, slope, None, text)
