"""The as-built report: each riser against its design, the verdict in words, what to put right."""

from collections.abc import Iterator

from drivers.lengths import Units
from logger.asbuilt import NOT_CHECKED, AsBuilt, BuiltRiser
from logger.built_depths import BuiltDepth
from logger.built_heights import Status
from logger.measures import both, fine
from logger.observation import COVERAGE
from logger.profile import Profile
from logger.sheets import cautions
from logger.sheets.document import Block, Cell, Lines, Sheet, Table, length
from logger.sheets.head import counts, facts, foot
from logger.steps.option import Option, Verdict

WORDS = {Status.PASS: "within", Status.FAIL: "outside", Status.UNSURE: "not decided against"}
DECIDED = WORDS | {Status.UNSURE: "too close to tell"}


def asbuilt_sheet(profile: Profile, option: Option, result: AsBuilt, units: Units) -> Sheet:
    """The report on one flight of steps as built."""
    blocks: list[Block] = [_risers(result, units), _depths(result, units)]
    fixes = tuple(f"riser {r.riser}: {r.fix}" for r in result.risers if r.fix)
    if fixes:
        blocks.append(Lines("What to put right", fixes))
    blocks.append(Lines("Findings", tuple(_findings(result))))
    if result.digest:
        sessions = (f"plan: {profile.digest or 'not from a session'}", f"finished steps: {result.digest}")
        blocks.append(Lines("Sessions", sessions))
    blocks.append(Lines("Please note", (*cautions.guards(option), cautions.GOVERNS), boxed=True))
    spread = "not known" if result.uniformity_m is None else both(fine(result.uniformity_m, units))
    return Sheet(
        title="As-built report",
        job=f"{counts(option)}: {verdict(result)}",
        facts=(
            *facts(profile, units),
            ("Decision", result.rule),
            ("Face limit", said_limit(result.limits.face_m, result.limits.face_rule, units)),
            ("Depth limit", said_limit(result.limits.depth_m, result.limits.depth_rule, units)),
            ("Evenness limit", said_limit(result.limits.evenness_m, result.limits.evenness_rule, units)),
            ("Spread in a flight", spread),
        ),
        blocks=tuple(blocks),
        foot=foot(profile, units),
    )


def _findings(result: AsBuilt) -> Iterator[str]:
    """What there is to say; falls as they should be stand together in one line."""
    fine_falls = [f for f in result.findings if f.rule == "fall" and f.status is Verdict.NOTE]
    yield from (f.text for f in result.findings if f not in fine_falls)
    if fine_falls:
        yield f"falling to the front as they should: {'; '.join(f.text for f in fine_falls)}"


def verdict(result: AsBuilt) -> str:
    """The verdict part by part in words that name the rules, never a bare pass; what was not checked is said."""
    return "; ".join(
        f"{part.what or part.against}: {NOT_CHECKED}"
        if part.lacking == NOT_CHECKED
        else f"{part.what} {WORDS[part.status]} {part.against}{f' ({part.lacking})' if part.lacking else ''}".strip()
        for part in result.judged
    )


def said_limit(limit_m: float, rule: str, units: Units) -> str:
    """A limit with the rule it comes from; too small for sixteenths and whole millimetres."""
    return f"{both(fine(limit_m, units))}, {rule}"


def _risers(result: AsBuilt, units: Units) -> Table:
    def row(riser: BuiltRiser) -> tuple[Cell, ...]:
        off = None if riser.built_face_m is None else riser.built_face_m - riser.designed_face_m
        sure = "–" if riser.u_m is None else f"± {fine(COVERAGE * riser.u_m, units)[0]}"
        return (
            Cell(str(riser.riser), f"flight {riser.flight}"),
            length(riser.designed_face_m, units),
            length(riser.built_face_m, units),
            Cell("–") if off is None else Cell(*fine(off, units, signed=True)),
            Cell(sure, riser.how),
            length(riser.designed_top_m, units),
            length(riser.built_top_m, units),
            Cell(DECIDED[riser.status] if riser.built_face_m is not None else "not observed"),
        )

    return Table(
        "Risers",
        (
            "Riser",
            "Face, designed",
            "Face, built",
            "Off",
            "Uncertainty, 95 %",
            "Top, designed",
            "Top, built",
            "Verdict",
        ),
        tuple(row(riser) for riser in result.risers),
        strong=(2, 7),
        note="A face is the front of its step less the back of the step below. Tops are heights above the zero.",
    )


def _depths(result: AsBuilt, units: Units) -> Table:
    def row(depth: BuiltDepth) -> tuple[Cell, ...]:
        known = depth.built_m is not None and depth.u_m is not None
        off = depth.built_m - depth.designed_m if depth.built_m is not None else 0.0
        return (
            Cell(str(depth.riser), depth.part.value),
            length(depth.designed_m, units),
            length(depth.built_m, units),
            Cell(*fine(off, units, signed=True)) if known else Cell("–"),
            Cell(f"± {fine(COVERAGE * (depth.u_m or 0.0), units)[0]}", depth.how) if known else Cell("–"),
            Cell(DECIDED[depth.status] if known else NOT_CHECKED),
        )

    checked = [depth for depth in result.depths if depth.built_m is not None]
    return Table(
        "Depths of treads and landings",
        ("Behind riser", "Designed", "Built", "Off", "Uncertainty, 95 %", "Verdict"),
        tuple(row(depth) for depth in result.depths) if checked else (),
        strong=(2, 5),
        note="From nosing to nosing. A landing is outside only where it is short.",
    )
