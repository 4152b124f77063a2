"""Best first: rules, then the riser that was wanted, then the step rule, then fit to the ground."""

from collections.abc import Sequence

from logger.steps.brief import Brief, Kind
from logger.steps.option import Option, Verdict
from logger.steps.rulebook import Measure
from logger.steps.words import Words

EASY_STEP_M = 0.65
"""Twice the rise plus the tread that is walked at ease outdoors; common practice, 25 to 26 in."""


def ranked(options: Sequence[Option], brief: Brief) -> tuple[tuple[Option, ...], str, tuple[int, ...]]:
    """The options best first, one line on what put them in this order, and the indexes of the trade-offs."""
    ease_m = easy_step_m(brief)
    best_first = tuple(sorted(options, key=lambda option: _key(option, brief, ease_m)))
    return best_first, _line(brief, ease_m), trade_offs(best_first, ease_m)


def easy_step_m(brief: Brief) -> float:
    """The middle of the narrowest step rule of the named sets, else common practice."""
    ranges = [
        (rule.most_value - rule.least_value, (rule.most_value + rule.least_value) / 2)
        for rules in brief.rule_sets
        for rule in rules.rules
        if rule.measures is Measure.STEP_RULE and rule.breach is not Verdict.NOTE
        if rule.least_value is not None and rule.most_value is not None
    ]
    return min(ranges)[1] if ranges else EASY_STEP_M


def fails(option: Option, brief: Brief) -> bool:
    """Whether a rule of a named set fails."""
    return bool(brief.rule_sets) and any(finding.status is Verdict.FAIL for finding in option.findings)


def _key(option: Option, brief: Brief, ease_m: float) -> tuple[bool, float, float, float, int]:
    wanted_m = brief.steps.riser_m
    riser_m = option.face_m if brief.unit.kind is Kind.WHOLE else option.nosing_rise_m
    off_m = 0.0 if wanted_m is None else round(abs(riser_m - wanted_m), 6)
    return fails(option, brief), off_m, round(abs(option.step_rule_m - ease_m), 6), option.fit_m2, option.risers


def _line(brief: Brief, ease_m: float) -> str:
    words = Words(brief.shown_in)
    parts = ["those that pass every named rule"] if brief.rule_sets else []
    if brief.steps.riser_m is not None:
        parts.append(f"nearest to the wanted riser of {words.small(brief.steps.riser_m)}")
    parts += [f"twice the rise plus the tread nearest to {words.length(ease_m)}", "least area between steps and ground"]
    return "Ranked by: " + "; then ".join(parts) + "."


def trade_offs(options: Sequence[Option], ease_m: float) -> tuple[int, ...]:
    """Indexes of the options that no other beats, or equals, in fit, comfort, landings and units all at once."""
    costs = [(o.fit_m2, abs(o.step_rule_m - ease_m), len(o.landings), o.risers) for o in options]

    def beaten(i: int) -> bool:
        mine = costs[i]
        return any(c != mine and all(theirs <= own for theirs, own in zip(c, mine, strict=True)) for c in costs)

    return tuple(i for i in range(len(costs)) if not beaten(i))
