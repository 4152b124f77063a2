"""The layout chosen, in words and lines: what the steps, set-out and check screens say of it."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from drivers.lengths import FOOT_M, Units, show_length
from tui.walking.best import Best
from tui.walking.distances import distance, inches

if TYPE_CHECKING:
    from logger.steps.option import Option


def small(value_m: float, units: Units) -> str:
    """A height or depth of a step: inches and sixteenths, or millimetres."""
    match units:
        case Units.FEET_INCHES:
            return f'{inches(value_m)}"'
        case Units.FEET:
            return f"{value_m / FOOT_M:.3f} ft"
        case _:
            return f"{value_m * 1000:.0f} mm"


def chosen(best: Best | None, risers: int | None = None) -> "Option | None":
    """The layout with a count of risers, else the one ranked best; None where there is none."""
    if best is None or best.options is None or not best.options.options:
        return None
    options = best.options.options
    return next((o for o in options if o.risers == risers), options[best.options.chosen])


def sentence(best: Best, option: "Option") -> str:
    """The whole layout in the words used everywhere: `12 risers, 10 treads, 2 landings, top tread flush with …`."""
    from tui.cli.steps_text import headline

    assert best.brief is not None
    return headline(option, best.brief)


def measures(best: Best, option: "Option", units: Units) -> list[tuple[str, str]]:
    """What is measured on the layout: name and value."""
    options = best.options
    assert options is not None
    return [
        ("rise", show_length(options.rise_m, units)),
        ("run", distance(options.run_m, units)),
        ("face", small(option.face_m, units)),
        ("nosing rise", small(option.nosing_rise_m, units)),
        ("tread", small(option.tread_m, units)),
        ("2R+T", small(option.step_rule_m, units)),
        ("fall", f"{option.fall * 100:.1f} %"),
    ]


def best_in_short(best: Best, risers: int | None, units: Units) -> str:
    """The same for forty columns: `14 × 6 5/16", 11 treads, 3 landings`."""
    from logger.sheets.head import counts

    option = chosen(best, risers)
    if option is None:
        return ""
    return ", ".join([f"{option.risers} × {small(option.face_m, units)}", *counts(option).split(", ")[1:]])


def best_in_words(best: Best, risers: int | None, units: Units) -> str:
    """The layout so far in one line, or why there is none."""
    from logger.sheets.head import counts

    option = chosen(best, risers)
    if option is not None:
        first, *rest = counts(option).split(", ")
        return ", ".join([f"{first} of {small(option.face_m, units)}", *rest])
    return f"no steps yet: {why_none(best)}"


def why_none(best: Best) -> str:
    """Why there is no layout, in a sentence."""
    if best.trouble:
        return best.trouble
    refused = best.options.refused if best.options else ()
    causes = [cause.text for refusal in refused for cause in refusal.causes]
    return causes[0] if causes else "nothing fits"


def verdicts(option: "Option") -> dict[str, int]:
    """How many findings of each status."""
    found: dict[str, int] = {}
    for finding in option.findings:
        found[finding.status.value] = found.get(finding.status.value, 0) + 1
    return found


def judged(option: "Option") -> str:
    """`passes`, or how many fail and warn."""
    found = verdicts(option)
    parts = [f"{found[word]} {word}" for word in ("fail", "warn") if found.get(word)]
    return ", ".join(parts) or "passes"


def findings(option: "Option") -> list[tuple[str, str]]:
    """Status and sentence of each finding, the failing first; `adjusted` notes at the end."""
    order: Sequence[str] = ("fail", "warn", "note", "pass")
    found = sorted(option.findings, key=lambda f: order.index(f.status.value))
    lines = [(f.status.value, f"{f.text} ({f'{f.rule} {f.clause}'.replace('_', ' ').strip()})") for f in found]
    return lines + [("changed", text) for text in option.adjusted]


def refusals(best: Best) -> list[tuple[str, str]]:
    """Each count that cannot be, and why."""
    refused = best.options.refused if best.options else ()
    told = []
    for each in refused:
        text = "; ".join(cause.text for cause in each.causes)
        told.append((f"{each.risers} risers", text + (f". Would do: {'; or '.join(each.mends)}" if each.mends else "")))
    return told


def why_not(best: Best, risers: int | None) -> list[tuple[str, str]]:
    """Why a count is where it is or cannot be, in full; without one, every count that cannot be."""
    from tui.cli.steps_text import explained

    if risers is None or best.options is None or best.brief is None:
        return refusals(best) or [("none", "every count tried can be laid")]
    first, *more = explained(best.options, best.brief, risers)
    return [("why", first), *(("", line.strip()) for line in more)]


def lacks_mends(best: Best | None, risers: int | None) -> bool:
    """Whether a count cannot be and what would mend it was not worked out."""
    refused = best.options.refused if best and best.options else ()
    return any(each.risers == risers and not each.mends for each in refused)


def compared(best: Best, one: "Option", other: "Option", units: Units) -> list[tuple[str, str]]:
    """Two layouts side by side, measure by measure."""
    rows = [("risers", str(one.risers), str(other.risers)), ("treads", str(one.treads), str(other.treads))]
    rows.append(("landings", str(len(one.landings)), str(len(other.landings))))
    pairs = zip(measures(best, one, units), measures(best, other, units), strict=True)
    rows += [(name, left, right) for (name, left), (_, right) in pairs if name not in ("rise", "run")]
    area = [(o.fit_m2, o.ground_above_m2, o.ground_below_m2) for o in (one, other)]
    names = ("fit to ground", "ground above", "ground below")
    rows += [(name, f"{a:.2f} m2", f"{b:.2f} m2") for name, a, b in zip(names, *area, strict=True)]
    rows.append(("judged", judged(one), judged(other)))
    return [(name, f"{left}  │  {right}") for name, left, right in rows]
