"""What was built against what was designed, each judged with the uncertainty of what was observed.

Decision rule, by name: guarded acceptance and guarded rejection with a guard band of the expanded uncertainty,
`w = U = 2 u` (JCGM 106:2012, 8.3.2; the same idea as ISO 14253-1). Inside the tolerance by at least w is a pass,
outside by more than w a fail, and what lies between is unsure. A riser that was not observed keeps the whole from
passing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from math import sqrt

from drivers.lengths import Units
from logger.built_depths import ASKED, NONE, BuiltDepth, Depths, Distances
from logger.built_heights import RULE, Built, Estimate, Levels, Status, judge, worst
from logger.built_rules import Case, falls, held
from logger.construction import SAME_M, Part
from logger.measures import both, fine
from logger.setout import SetOut
from logger.steps.option import Finding, Verdict
from logger.steps.rulebook import RuleSet

NOT_CHECKED = "not checked"
DISAGREE = 3.0
"""Tape and level heights of one face that differ by more than this many standard uncertainties are pointed out."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What is allowed, in metres: each face and depth from its design, largest against smallest face of a flight."""

    face_m: float = 0.005
    face_rule: str = "DIN 18065, ±5 mm from nominal"
    evenness_m: float = 0.0095
    evenness_rule: str = "3/8 in (9.5 mm), IRC R318.7.5.1"
    depth_m: float = 0.005
    depth_rule: str = "DIN 18065, ±5 mm from nominal"


@dataclass(frozen=True, slots=True)
class BuiltRiser:
    """One riser as built; None for what was not observed. `fix` says what to do about it, in words."""

    riser: int
    flight: int
    designed_face_m: float
    built_face_m: float | None
    designed_top_m: float
    built_top_m: float | None
    u_m: float | None
    status: Status
    how: str
    fix: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """One part of the verdict: what was held against which rule; `lacking` says what of it was not observed.

    `what` is empty for a rule set, which is held against all that was observed.
    """

    what: str
    against: str
    status: Status
    lacking: str = ""


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """The verdict on the whole, by its parts and on each riser; `rule` names the decision rule."""

    risers: tuple[BuiltRiser, ...]
    uniformity_m: float | None
    status: Status
    findings: tuple[Finding, ...]
    limits: Limits
    depths: tuple[BuiltDepth, ...] = ()
    judged: tuple[Judged, ...] = ()
    digest: str = ""
    rule: str = RULE


@dataclass(frozen=True, slots=True)
class Held:
    """What finished steps are held against beside the plan: named rule sets, and the width for cross fall.

    `units` come first where a length is put in words.
    """

    limits: Limits = Limits()
    sets: tuple[RuleSet, ...] = ()
    width_m: float | None = None
    units: Units = Units.METRES


def check(plan: SetOut, built: Built, against: Held = Held(), along: Distances = NONE) -> AsBuilt:
    """Judge what was observed against the plan and the rules; heights of both above the same zero."""
    return _Check(plan, built, against, along).result()


class _Check:
    def __init__(self, plan: SetOut, built: Built, against: Held, along: Distances) -> None:
        self.plan, self.built, self.against, self.limits = plan, built, against, against.limits
        self.levels, self.depths = Levels(built), Depths(plan, along)
        self.findings: list[Finding] = []

    def result(self) -> AsBuilt:
        """All risers, then evenness by flight, then fall and cross fall, then the whole."""
        self._other_zero()
        self._odd_numbers()
        self._doubts()
        flight, risers, estimates = 1, [], {}
        for mark in self.plan.marks:
            estimate = self._face(mark.riser)
            if estimate is not None:
                estimates[mark.riser] = estimate
            risers.append(self._riser(mark.riser, flight, estimate))
            flight += mark.part is Part.LANDING
        spread, even = self._evenness(risers, estimates)
        self._not_observed(risers)
        deep, limits = self._depths(), self.limits
        judged = (
            Judged("faces", limits.face_rule, worst(r.status for r in risers)),
            Judged("evenness", limits.evenness_rule, worst(even), "" if even else NOT_CHECKED),
            self._deep_enough(deep),
            *self._rules(estimates),
        )
        return AsBuilt(
            tuple(risers),
            spread,
            worst(part.status for part in judged if part.lacking != NOT_CHECKED),
            tuple(self.findings),
            limits,
            deep,
            judged,
            self.built.digest,
        )

    def _doubts(self) -> None:
        for doubt in self.built.doubts:
            text = f"{doubt} does not agree with the others: strike it out if the step was moved after it"
            self._note("doubt", Verdict.WARN, text)

    def _not_observed(self, risers: list[BuiltRiser]) -> None:
        if missing := ", ".join(str(r.riser) for r in risers if r.built_face_m is None):
            self._note("observed", Verdict.WARN, f"not observed: riser {missing}; the whole cannot pass")

    def _deep_enough(self, deep: tuple[BuiltDepth, ...]) -> Judged:
        """All depths that were observed, as one part of the verdict."""
        seen = [depth.status for depth in deep if depth.built_m is not None]
        lacking = "" if len(seen) == len(deep) else "some not checked" if seen else NOT_CHECKED
        return Judged("depths", self.limits.depth_rule, worst(seen), lacking)

    def _rules(self, faces: Mapping[int, Estimate]) -> list[Judged]:
        """Findings of the named sets and on fall; each set by its rules whose breach is a failure."""
        case = Case(self.plan, self.levels, faces, self.depths, self.against.width_m, self.against.units)
        judged = []
        for rules in self.against.sets:
            statuses = []
            for rule, status, finding in held(case, rules):
                self.findings.append(finding)
                if rule.breach is Verdict.FAIL:
                    statuses.append(status)
            name = f"{rules.title or rules.name} {rules.edition}".strip()
            judged.append(Judged("", name, worst(statuses), "" if statuses else NOT_CHECKED))
        self.findings += falls(case)
        return judged

    def _depths(self) -> tuple[BuiltDepth, ...]:
        """Depths against the plan, with what is odd about the distances and what is lacking."""
        for said in self.depths.seen.odd:
            self._note("distances", Verdict.WARN, f"{said} No depth is taken from them.")
        deep = tuple(self.depths.judged(self.limits.depth_m))
        lacking = ", ".join(str(d.riser) for d in deep if d.built_m is None)
        if lacking:
            self._note("depth", Verdict.NOTE, f"depth behind riser {lacking}: not checked; {ASKED}")
        return deep

    def _face(self, riser: int) -> Estimate | None:
        """The face of a riser from heights, from tape and spirit level, or from both weighed together."""
        heights, tape = self._face_by_heights(riser), self.levels.taped(riser)
        if heights is None or tape is None:
            return heights or tape
        return self._both(riser, heights, tape)

    def _face_by_heights(self, riser: int) -> Estimate | None:
        front, below = self.levels.front(riser), self.levels.form({(riser - 1, "back"): 1.0})
        if front is None:
            return None
        if below is None and riser == 1:
            text = (
                "the grade at the foot is that of the plan: observe it again, as the point that the brief names, "
                "else as one named foot"
            )
            self._note("foot", Verdict.NOTE, text)
            return replace(front, value_m=front.value_m - self.plan.foot_m, how="level, foot from the plan")
        return None if below is None else front.less(below)

    def _both(self, riser: int, heights: Estimate, tape: Estimate) -> Estimate:
        u_heights, u_tape = self.levels.u_m(heights), max(tape.own_u_m, SAME_M)
        apart, u_apart = heights.value_m - tape.value_m, sqrt(u_heights**2 + u_tape**2)
        if abs(apart) > DISAGREE * u_apart:
            text = f"riser {riser}: tape and level differ by {self._fine(abs(apart))}; measure it again"
            self._note("agreement", Verdict.WARN, text, value=abs(apart), limit=DISAGREE * u_apart)
        share = u_tape**2 / (u_heights**2 + u_tape**2)
        return Estimate(
            share * heights.value_m + (1 - share) * tape.value_m,
            share * heights.weights,
            sqrt((share * heights.own_u_m) ** 2 + ((1 - share) * u_tape) ** 2),
            "level, tape and spirit level",
        )

    def _riser(self, riser: int, flight: int, face: Estimate | None) -> BuiltRiser:
        mark, top = self.plan.marks[riser - 1], self.levels.front(riser)
        assert mark.front.finished_m is not None
        built_top = None if top is None else top.value_m
        if face is None:
            return BuiltRiser(
                riser, flight, mark.face_m, None, mark.front.finished_m, built_top, None, Status.UNSURE, "not observed"
            )
        u, off = self.levels.u_m(face), face.value_m - mark.face_m
        status = judge(abs(off), self.limits.face_m, u)
        fix = "" if status is Status.PASS else self._fix(riser, off, built_top)
        return BuiltRiser(
            riser, flight, mark.face_m, face.value_m, mark.front.finished_m, built_top, u, status, face.how, fix
        )

    def _fix(self, riser: int, off_m: float, built_top_m: float | None) -> str:
        high = "too high" if off_m > 0 else "too low"
        said = f"the face is {self._fine(abs(off_m))} {high}"
        if built_top_m is not None:
            designed = self.plan.marks[riser - 1].front.finished_m
            assert designed is not None
            move = designed - built_top_m
            way = "raise" if move > 0 else "lower"
            if abs(move) >= abs(off_m) / 2:
                said += f"; its nosing stands {self._fine(abs(move))} off the plan: {way} step {riser} by that"
            else:
                said += f"; its nosing stands within {self._fine(abs(move))} of the plan, so look at the step below"
        return said

    def _evenness(self, risers: list[BuiltRiser], faces: Mapping[int, Estimate]) -> tuple[float | None, list[Status]]:
        """Largest less smallest face of each flight, and the status of each; None with no two faces in a flight."""
        spreads: list[float] = []
        statuses: list[Status] = []
        for flight in sorted({r.flight for r in risers}):
            pairs = list(combinations([faces[r.riser] for r in risers if r.flight == flight and r.riser in faces], 2))
            if not pairs:
                continue
            judged = []
            for one, two in pairs:
                apart = one.less(two)
                judged.append(judge(abs(apart.value_m), self.limits.evenness_m, self.levels.u_m(apart)))
            spread, status = max(abs(a.value_m - b.value_m) for a, b in pairs), worst(judged)
            word = {Status.PASS: Verdict.PASS, Status.FAIL: Verdict.FAIL, Status.UNSURE: Verdict.WARN}[status]
            text = f"flight {flight}: largest less smallest face {self._fine(spread)}"
            text += {
                Status.PASS: ", within ",
                Status.FAIL: ", outside ",
                Status.UNSURE: ", too close to tell against ",
            }[status]
            text += self.limits.evenness_rule
            self._note("evenness", word, text, value=spread, limit=self.limits.evenness_m)
            spreads.append(spread)
            statuses.append(status)
        return (max(spreads) if spreads else None), statuses

    def _fine(self, value_m: float) -> str:
        return both(fine(value_m, self.against.units))

    def _other_zero(self) -> None:
        """Tops of two walks compare only from one zero; faces are differences and do not need it."""
        mine, theirs = self.plan, self.built
        same = theirs.datum == mine.datum and abs(theirs.datum_elevation_m - mine.datum_elevation_m) <= SAME_M
        if theirs.datum and not same:
            text = f"the steps were walked from zero {theirs.datum}, the plan from {mine.datum}: tops do not compare"
            self._note("zero", Verdict.WARN, text)

    def _odd_numbers(self) -> None:
        """Point out nosings that do not climb in the order of their numbers."""
        tops = [(m.riser, top.value_m) for m in self.plan.marks if (top := self.levels.front(m.riser)) is not None]
        for (low, low_m), (high, high_m) in pairwise(tops):
            if high_m <= low_m:
                text = f"riser {high} was observed below riser {low}: were their numbers mixed up?"
                self._note("order", Verdict.FAIL, text, value=high_m - low_m, limit=0.0)

    def _note(
        self, rule: str, status: Verdict, text: str, *, value: float | None = None, limit: float | None = None
    ) -> None:
        self.findings.append(Finding(rule, "", status, value, limit, text))
