"""The cut sheet: how deep at every step, how wide and long, and what comes out of the ground and goes into it."""

from drivers.lengths import Units
from logger.earthworks import Earthworks
from logger.profile import Profile
from logger.setout import Mark, SetOut
from logger.sheets import cautions
from logger.sheets.document import Cell, Lines, Sheet, Table, both, dig, length
from logger.sheets.head import counts, facts, foot
from logger.steps.option import Option

YD3_M3 = 0.9144**3


def cut_sheet(profile: Profile, option: Option, marks: SetOut, work: Earthworks, *, units: Units) -> Sheet:
    """Digging for one layout, step by step and as volumes."""
    return Sheet(
        title="Cut sheet",
        job=f"{counts(option)}; dig {both(work.length_m, units)} long, {both(work.width_m, units)} wide",
        facts=facts(profile, units),
        blocks=(
            Lines("Before you dig", (*work.warnings, *cautions.DIGGING, cautions.GOVERNS), boxed=True),
            _depths(marks, units),
            _volumes(work),
            Lines("Remarks", marks.notes),
        ),
        foot=foot(profile),
    )


def _depths(marks: SetOut, units: Units) -> Table:
    def row(mark: Mark) -> tuple[Cell, ...]:
        return (
            Cell(str(mark.riser), mark.part.value),
            length(mark.tape_m, units),
            length(mark.front.ground_m, units),
            length(mark.front.subgrade_m, units),
            dig(mark.front.dig_m, units),
            length(mark.back.subgrade_m, units),
            dig(mark.back.dig_m, units),
        )

    return Table(
        "Dig, step by step",
        ("Step", "Tape, front", "Ground, front", "Subgrade, front", "Dig, front", "Subgrade, back", "Dig, back"),
        tuple(row(mark) for mark in marks.marks),
        strong=(3, 5),
        note="Heights are above the zero. Dig is down from the ground as walked.",
    )


def _volumes(work: Earthworks) -> Table:
    def row(name: str, m3: float, how: str) -> tuple[Cell, ...]:
        return Cell(name), Cell(f"{m3:.2f} m³", f"{m3 / YD3_M3:.2f} yd³"), Cell(how)

    volumes = work.volumes
    return Table(
        "Volumes",
        ("", "Volume", "How"),
        (
            row("Cut", volumes.cut_m3, "in the bank, topsoil included; average end area"),
            row("Trenches", work.trench_m3, "for cheek walls, below the subgrade, in the bank"),
            row("Topsoil", volumes.topsoil_m3, "in the bank; strip it first and keep it apart"),
            row("Fill", volumes.fill_m3, "below the subgrade, compacted"),
            row("Spoil to take away", work.spoil_loose_m3, f"loose; {work.spoil_bank_m3:.2f} m³ in the bank"),
            row("Base", work.base_m3, f"compacted; {work.base_loose_m3:.2f} m³ loose"),
            row("Bedding", work.bedding_m3, "as screeded"),
        ),
        strong=(1,),
        note=f"Reckoned with {work.loose:g} loose over compacted for the base and {work.swell:g} loose over bank "
        "for the soil; 1.15 to 1.30 and 1.2 to 1.3 are usual (from memory). Yours may differ: say so in the brief.",
    )
