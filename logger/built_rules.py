"""Rules held against finished steps: each by its own measure, with the uncertainty of what was observed."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from math import atan2, degrees, hypot

from drivers.lengths import Units
from logger.built_depths import Depths, climb_and_depth
from logger.built_heights import Estimate, Levels, Status, judge, worst
from logger.construction import Part
from logger.measures import both, fine
from logger.observation import COVERAGE
from logger.setout import Mark, SetOut
from logger.steps.option import Finding, Verdict
from logger.steps.rulebook import SLOPES, Measure, Rule, RuleSet

VERDICTS = {Status.PASS: Verdict.PASS, Status.FAIL: Verdict.FAIL, Status.UNSURE: Verdict.WARN}
SAID = {Status.PASS: "within", Status.FAIL: "outside", Status.UNSURE: "too close to tell against"}


@dataclass(frozen=True, slots=True)
class Case:
    """One walk over the finished steps beside its plan; `faces` are those that were observed, by riser."""

    plan: SetOut
    levels: Levels
    faces: Mapping[int, Estimate]
    depths: Depths
    width_m: float | None = None
    units: Units = Units.METRES

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


@dataclass(frozen=True, slots=True)
class Value:
    """What a rule measures at a riser, its uncertainty, and what it is over (1, for a fall the depth).

    Metres, degrees for a pitch.
    """

    riser: int
    length_m: float
    u_m: float
    over_m: float = 1.0

    @property
    def value(self) -> float:
        """The length or the pitch, or the slope."""
        return self.length_m / self.over_m


def held(case: Case, rules: RuleSet) -> Iterator[tuple[Rule, Status, Finding]]:
    """Every rule of a set that was observed, where anything it measures was."""
    for rule in rules.rules:
        values, limits = list(_values(case, rule)), rule.limits(case.width_m)
        by_width = rule.up_to_width_m is not None and case.width_m is None
        if values and limits != (None, None) and not by_width:
            yield rule, *_finding(rules, rule, values, limits, units=case.units)


def _values(case: Case, rule: Rule) -> Iterator[Value]:
    match rule.measures:
        case Measure.FACE:
            yield from (_height(case, riser, face) for riser, face in case.faces.items())
        case Measure.NOSING_RISE:
            for flight in case.flights():
                yield from (_height(case, riser, climb) for riser, climb in case.climbs(flight).items())
        case Measure.EVENNESS:
            for flight in case.flights():
                yield from (_height(case, riser, apart) for riser, apart in _apart(case.climbs(flight)))
        case Measure.NEIGHBOURS:
            for flight in case.flights():
                yield from (_height(case, riser, apart) for riser, apart in _apart(case.climbs(flight), adjacent=True))
        case Measure.FLIGHT_RISE:
            for flight in case.flights():
                yield from _flight_rise(case, flight)
        case Measure.TREAD_FALL | Measure.LANDING_FALL:
            yield from _falls(case, landings=rule.measures is Measure.LANDING_FALL)
        case _:
            yield from _depths(case, rule.measures)


def _falls(case: Case, *, landings: bool) -> Iterator[Value]:
    """The slopes of landings, or of treads."""
    for mark in case.plan.marks:
        fall = case.fall(mark)
        if fall is not None and mark.depth_m is not None and (mark.part is Part.LANDING) is landings:
            yield Value(mark.riser, fall.value_m, case.levels.u_m(fall), mark.depth_m)


def _depths(case: Case, measure: Measure) -> Iterator[Value]:
    """What needs the depths of steps."""
    for flight in case.flights():
        landings = {m.riser for m in flight if m.part is Part.LANDING}
        found = {m.riser: depth for m in flight if (depth := case.depths.of(m)) is not None}
        treads = {riser: depth for riser, depth in found.items() if riser not in landings}
        match measure:
            case Measure.TREAD:
                yield from (_depth(case, riser, depth) for riser, depth in treads.items())
            case Measure.LANDING_DEPTH:
                yield from (_depth(case, riser, depth) for riser, depth in found.items() if riser in landings)
            case Measure.TREAD_EVENNESS:
                yield from (_depth(case, riser, apart) for riser, apart in _apart(treads))
            case Measure.STEP_RULE | Measure.RISE_AND_TREAD | Measure.PITCH:
                climbs = case.climbs(flight)
                for riser, depth in treads.items():
                    if riser in climbs:
                        yield _climb_by_depth(case, riser, climbs[riser], depth, measure=measure)


def _climb_by_depth(case: Case, riser: int, climb: Estimate, depth: Estimate, *, measure: Measure) -> Value:
    """What a rise and the tread behind it make together."""
    u_depth = case.depths.u_m(depth)
    if measure is not Measure.PITCH:
        times = 2 if measure is Measure.STEP_RULE else 1
        return _height(case, riser, climb_and_depth(climb, depth, u_depth, times=times))
    across = hypot(climb.value_m, depth.value_m)
    u = hypot(depth.value_m * case.levels.u_m(climb), climb.value_m * u_depth) / across**2
    return Value(riser, degrees(atan2(climb.value_m, depth.value_m)), degrees(u))


def _height(case: Case, riser: int, of: Estimate) -> Value:
    return Value(riser, of.value_m, case.levels.u_m(of))


def _depth(case: Case, riser: int, of: Estimate) -> Value:
    return Value(riser, of.value_m, case.depths.u_m(of))


def _apart(of: Mapping[int, Estimate], *, adjacent: bool = False) -> Iterator[tuple[int, Estimate]]:
    """Every two of them, or only those next to each other, the larger less the smaller."""
    for (one, a), (two, b) in combinations(of.items(), 2):
        if not adjacent or abs(one - two) == 1:
            yield max(one, two), a.less(b) if a.value_m >= b.value_m else b.less(a)


def _flight_rise(case: Case, flight: tuple[Mark, ...]) -> Iterator[Value]:
    top, below = case.levels.front(flight[-1].riser), case.levels.form({(flight[0].riser - 1, "back"): 1.0})
    if top is not None and below is not None:
        yield _height(case, flight[-1].riser, top.less(below))


def _finding(
    rules: RuleSet, rule: Rule, values: list[Value], limits: tuple[float | None, float | None], *, units: Units
) -> tuple[Status, Finding]:
    least, most = limits
    statuses, furthest = [], max(values, key=lambda v: v.value)
    for seen in values:
        if most is not None:
            statuses.append(judge(seen.length_m, most * seen.over_m, seen.u_m))
        if least is not None:
            statuses.append(judge(-seen.length_m, -least * seen.over_m, seen.u_m))
    lowest = min(values, key=lambda v: v.value)
    if least is not None and (most is None or lowest.value < least):
        furthest = lowest
    status, limit = worst(statuses), most if most is not None and furthest is not lowest else least
    text = f"as built, {_shown(furthest.value, rule, units)} at riser {furthest.riser}: {SAID[status]} "
    text += f"{rules.title or rules.name} {rule.clause}"
    verdict = rule.breach if status is Status.FAIL else VERDICTS[status]
    return status, Finding(f"{rules.name}/{rule.name}", rule.clause, verdict, furthest.value, limit, text.strip())


def _shown(value: float, rule: Rule, units: Units) -> str:
    what = rule.measures.value.replace("_", " ")
    if rule.measures is Measure.PITCH:
        return f"{what} {value:.1f}°"
    return f"{what} {value * 100:.1f} %" if rule.measures in SLOPES else f"{what} {both(fine(value, units))}"


def falls(case: Case) -> Iterator[Finding]:
    """Fall of every step against its plan, and cross fall where left and right were observed."""
    for mark in case.plan.marks:
        fall = case.fall(mark)
        if fall is not None and mark.depth_m:
            assert mark.front.finished_m is not None
            assert mark.back.finished_m is not None
            slope, sure = fall.value_m / mark.depth_m, COVERAGE * case.levels.u_m(fall) / mark.depth_m
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
