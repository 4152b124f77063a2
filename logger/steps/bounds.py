"""The bounds a riser must keep to be tried at all: the brief's, else the rule sets', else common practice."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.steps.brief import Brief, Kind
from logger.steps.option import Cause, Verdict
from logger.steps.problem import SAME_M, Heights
from logger.steps.rulebook import Measure, RuleSet
from logger.steps.words import Words

MOST_RISERS = 2000
"""Higher than any slope that steps are built on."""


class Side(StrEnum):
    """Which way a bound holds."""

    LEAST = "least"
    MOST = "most"


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit on every face, or on every rise from nosing to nosing; `source` says whose it is."""

    rule: str
    side: Side
    of_face: bool
    limit_m: float
    source: str

    def value_m(self, heights: Heights) -> float:
        """What is held against the limit."""
        return heights.face_m if self.of_face else heights.rise_m

    def broken(self, heights: Heights) -> bool:
        """Whether these heights break the bound."""
        value = self.value_m(heights)
        return (value - self.limit_m if self.side is Side.MOST else self.limit_m - value) > SAME_M

    def breach(self, heights: Heights, words: Words) -> Cause | None:
        """Why these heights break the bound, None where they keep it."""
        if not self.broken(heights):
            return None
        value = self.value_m(heights)
        what = "face" if self.of_face else "rise from nosing to nosing"
        than = "more than" if self.side is Side.MOST else "less than"
        shown, limit = words.pair(value, self.limit_m)
        text = f"the {what} of {shown} is {than} {limit} ({self.source})"
        return Cause(self.rule, text, value, self.limit_m)


class Bounds:
    """All bounds of one brief."""

    def __init__(self, bounds: Sequence[Bound], words: Words) -> None:
        self.bounds, self.words = tuple(bounds), words

    def causes(self, heights: Heights) -> tuple[Cause, ...]:
        """What these heights break."""
        return tuple(c for bound in self.bounds if (c := bound.breach(heights, self.words)) is not None)

    def change_m(self, heights: Heights, risers: int) -> float:
        """The least change of the rise that would let heights keep all bounds; zero where they do or none would."""
        changes = [(bound.limit_m - bound.value_m(heights)) * risers for bound in self.bounds if bound.broken(heights)]
        return 0.0 if not changes or min(changes) < 0 < max(changes) else max(changes, key=abs)

    def broken(self, heights: Heights, side: Side) -> bool:
        """Whether they break a bound of that side."""
        return any(bound.broken(heights) for bound in self.bounds if bound.side is side)

    def admit(self, heights: Heights) -> bool:
        """Whether they keep every bound."""
        return not any(bound.broken(heights) for bound in self.bounds)

    def least_m(self) -> float:
        """The strictest of the least heights."""
        return max((b.limit_m for b in self.bounds if b.side is Side.LEAST), default=0.0)


def bounds_of(brief: Brief, practice: RuleSet) -> Bounds:
    """The bounds of a brief; `practice` stands in where neither it nor its rule sets give one."""
    s, whole = brief.steps, brief.unit.kind is Kind.WHOLE
    found: list[Bound] = []
    for side, told_m, of_face in ((Side.MOST, s.riser_max_m, whole), (Side.LEAST, s.riser_min_m, True)):
        if told_m is not None:
            rule = "riser_max" if side is Side.MOST else "riser_min"
            found.append(Bound(rule, side, of_face, told_m, "the brief"))
            continue
        named = [b for chosen in brief.rule_sets for b in _of_set(chosen, side, whole)]
        found += named or list(_of_set(practice, side, whole))
    return Bounds(found, Words(brief.shown_in))


def _of_set(rules: RuleSet, side: Side, whole: bool) -> Iterator[Bound]:
    for rule in rules.rules:
        limit = rule.most_value if side is Side.MOST else rule.least_value
        if rule.measures in (Measure.NOSING_RISE, Measure.FACE) and rule.breach is Verdict.FAIL and limit is not None:
            source = f"{rules.name} {rule.clause}".strip() if rules.edition else rules.title
            of_face = whole or rule.measures is Measure.FACE
            yield Bound(f"{rules.name}/{rule.name}", side, of_face, limit, source)


def counts_tried(low: int, high: int) -> range:
    """From two below to two above the bounds."""
    return range(max(1, min(low, high) - 2), max(low, high) + 3)


def most_risers(rise_m: float, bounds: Bounds, leaning_m: float) -> int:
    """A count that no bound allows to be passed; `leaning_m` is what fall adds to a face."""
    return min(MOST_RISERS, math.ceil(max(rise_m, 0.0) / max(bounds.least_m() - leaning_m, 0.02)) + 2)
