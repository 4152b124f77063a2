"""The marking sheet: what the crew carries up the slope. Riser lines, base tops, stakes, and the section."""

from drivers.lengths import Units
from logger.observation import Tape
from logger.profile import Ground, Profile
from logger.setout import Bed, Mark, SetOut, Stake, tape_at
from logger.sheets import cautions
from logger.sheets.document import Block, Cell, Drawing, Lines, Sheet, Table, both, dig, length
from logger.sheets.head import counts, facts, foot, part_of
from logger.sheets.section import Section
from logger.steps.option import Option

HELD = {Tape.LEVEL: "held level", Tape.TAUT: "pulled taut along the slope", Tape.GROUND: "laid on the ground"}


def marking_sheet(profile: Profile, option: Option, marks: SetOut, units: Units) -> Sheet:
    """The sheet with marks, stakes and base tops for one layout."""
    blocks: list[Block] = [
        Lines(cautions.FIRST, (*cautions.BEFORE, *cautions.guards(option)), boxed=True),
        Drawing(
            "Section",
            Section(profile.ground(), marks, units).draw(),
            "Heavy line: finished steps, numbered at their riser lines. Dashed: top of compacted base. "
            "Dotted: subgrade. Hatched: ground as walked. Triangle, g and a number: ground crossing of that riser. "
            "Where names would overlap, some are left out here; the tables have them all.",
        ),
        _work_table(profile.ground(), marks, units),
    ]
    if marks.stakes:
        blocks.append(_stake_table(marks.stakes, units))
    blocks.append(_line_table(profile, marks, units))
    remarks = (*option.adjusted, *marks.notes)
    blocks.append(Lines("Remarks", remarks))
    blocks.append(
        Lines("Before you dig or build", (*cautions.DIGGING, *cautions.BUILDING, cautions.GOVERNS), boxed=True)
    )
    return Sheet(
        title="Marking sheet",
        job=f"{counts(option)}, each face {both(option.face_m, units)}",
        facts=(
            *facts(profile, units),
            ("Tape", f"zero at the walk's zero, {HELD[marks.tape]}"),
            ("Level string", "zero at the riser line of riser 1"),
        ),
        blocks=tuple(blocks),
        foot=foot(profile, units),
    )


def _work_table(ground: Ground, marks: SetOut, units: Units) -> Table:
    def row(mark: Mark, bed: Bed) -> tuple[Cell, ...]:
        return (
            Cell(str(mark.riser), part_of(mark, bed)),
            length(tape_at(bed.start_m, ground, marks.tape), units),
            length(bed.front.base_top_m, units),
            length(bed.back.base_top_m, units),
            length(bed.front.finished_m, units),
            length(bed.back.finished_m, units),
            length(bed.front.subgrade_m, units),
            dig(bed.front.dig_m, units),
        )

    loose = (
        "" if marks.loose_lift_m is None else f" Loose, before compaction: {both(marks.loose_lift_m, units)} of base."
    )
    return Table(
        "Riser lines and base tops: work to these",
        ("Riser", "Tape", "Base top, front", "Base top, back", "Finished, front", "Finished, back", "Subgrade", "Dig"),
        tuple(row(mark, bed) for mark in marks.marks for bed in mark.beds),
        strong=(1, 2, 3),
        note="Heights are above the zero. The tape is read at the riser line, as in the walk. Base top is after "
        f"compaction.{loose} Dig is down from today's ground to the subgrade, at the front.",
    )


def _line_table(profile: Profile, marks: SetOut, units: Units) -> Table:
    ground = profile.ground()

    def row(mark: Mark) -> tuple[Cell, ...]:
        met = [length(tape_at(x, ground, marks.tape), units) for x in mark.ground_crossings_m] or [Cell("none")]
        return (
            Cell(str(mark.riser)),
            length(mark.level_m, units),
            length(mark.face_station_m, units),
            length(mark.nosing_station_m, units),
            length(mark.front.ground_m, units),
            Cell(", ".join(c.text for c in met), ", ".join(c.under for c in met if c.under)),
        )

    return Table(
        "Along the line, and ground crossings",
        ("Riser", "Level string", "Station", "Nosing, station", "Ground there", "Ground crossing g, tape"),
        tuple(row(mark) for mark in marks.marks),
        note="The ground crossing is where today's ground meets the foot of that riser: give it its own mark, never "
        "build on it. It is gone once the slope is dug.",
    )


def _stake_table(stakes: tuple[Stake, ...], units: Units) -> Table:
    def written(down_m: float | None) -> Cell:
        if down_m is None:
            return Cell("____")
        cell = length(abs(down_m), units)
        return Cell(f"{'C' if down_m >= 0 else 'F'} {cell.text}", cell.under)

    def row(stake: Stake) -> tuple[Cell, ...]:
        return (
            Cell(stake.name, stake.place),
            length(stake.station_m, units),
            Cell(f"{length(stake.offset_m, units).text} {stake.side}", length(stake.offset_m, units).under),
            Cell("____") if stake.top_m is None else length(stake.top_m, units),
            written(stake.down_to_nosing_m),
            written(stake.down_to_base_m),
            written(stake.down_to_subgrade_m),
        )

    return Table(
        "Stakes beside the run",
        ("Stake", "Station", "Off the centre line", "Top, observed", "To nosing", "To base top", "To subgrade"),
        tuple(row(stake) for stake in stakes),
        note="Left and right as seen going up. Drive the stake, observe its top as a point of its name, write the cut "
        "(C, down) or fill (F, up) on it. Digging takes the paint; the stakes stay.",
    )
