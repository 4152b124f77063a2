"""The cut sheet: how deep at every step, how wide and long, and what comes out of the ground and goes into it."""

from collections.abc import Iterator
from dataclasses import dataclass

from drivers.lengths import Units
from logger.courses import Course
from logger.earthworks import Earthworks
from logger.measures import both as on_one_line
from logger.measures import volume
from logger.profile import Profile
from logger.setout import SetOut, tape_at
from logger.sheets import cautions
from logger.sheets.document import Cell, Lines, Sheet, Table, both, dig, length
from logger.sheets.head import counts, facts, foot, part_of
from logger.steps.option import Option


@dataclass(frozen=True, slots=True)
class Dug:
    """What is dug and laid for one layout."""

    marks: SetOut
    work: Earthworks


def cut_sheet(profile: Profile, option: Option, dug: Dug, units: Units) -> Sheet:
    """Digging for one layout, step by step and as volumes, and the courses laid on it."""
    work = dug.work
    return Sheet(
        title="Cut sheet",
        job=f"{counts(option)}; dig {both(work.length_m, units)} long, {both(work.width_m, units)} wide",
        facts=facts(profile, units),
        blocks=(
            Lines("Before you dig", (*work.warnings, *cautions.DIGGING, cautions.GOVERNS), boxed=True),
            _depths(profile, dug.marks, units),
            _volumes(work, units),
            _courses(dug.marks, units),
            Lines("Remarks", dug.marks.notes),
        ),
        foot=foot(profile, units),
    )


def _depths(profile: Profile, marks: SetOut, units: Units) -> Table:
    ground = profile.ground()

    def rows() -> Iterator[tuple[Cell, ...]]:
        for mark in marks.marks:
            for bed in mark.beds:
                yield (
                    Cell(str(mark.riser), part_of(mark, bed)),
                    length(tape_at(bed.start_m, ground, marks.tape), units),
                    length(bed.front.ground_m, units),
                    length(bed.front.subgrade_m, units),
                    dig(bed.front.dig_m, units),
                    length(bed.back.subgrade_m, units),
                    dig(bed.back.dig_m, units),
                )

    return Table(
        "Dig, step by step",
        ("Step", "Tape, front", "Ground, front", "Subgrade, front", "Dig, front", "Subgrade, back", "Dig, back"),
        tuple(rows()),
        strong=(3, 5),
        note="Heights are above the zero. Dig is down from the ground as walked.",
    )


def _courses(marks: SetOut, units: Units) -> Table:
    def row(course: Course) -> tuple[Cell, ...]:
        return (
            Cell(str(course.riser)),
            Cell(str(course.number), course.sort.value),
            length(course.bottom_m, units),
            length(course.top_m, units),
            length(course.height_m, units),
            Cell(str(course.rows)),
        )

    return Table(
        "Courses, in the order they are laid",
        ("Riser", "Course", "Its foot", "Its top", "Height with joint", "Rows"),
        tuple(row(course) for mark in marks.marks for course in mark.courses),
        strong=(3,),
        note="Heights are above the zero, at the front. The foot of the lowest course stands on the bedding, or on the "
        "base where there is none. Rows lie one behind the other.",
    )


def _volumes(work: Earthworks, units: Units) -> Table:
    def said(m3: float) -> str:
        return on_one_line(volume(m3, units))

    volumes = work.volumes
    return Table(
        "Volumes",
        ("", "Volume", "How"),
        tuple(
            (Cell(name), Cell(*volume(m3, units)), Cell(how))
            for name, m3, how in (
                ("Cut", volumes.cut_m3, "in the bank, topsoil included; average end area"),
                ("Trenches", work.trench_m3, "for cheek walls, below the subgrade, in the bank"),
                ("Topsoil", volumes.topsoil_m3, "in the bank; strip it first and keep it apart"),
                ("Fill", volumes.fill_m3, "below the subgrade, compacted"),
                ("Spoil to take away", work.spoil_loose_m3, f"loose; {said(work.spoil_bank_m3)} in the bank"),
                ("Base", work.base_m3, f"compacted; {said(work.base_loose_m3)} loose"),
                ("Bedding", work.bedding_m3, "as screeded"),
            )
            if m3 >= 0.005
        ),
        strong=(1,),
        note=f"Reckoned with {work.loose:g} loose over compacted for the base and {work.swell:g} loose over bank "
        f"for the soil; 1.15 to 1.30 and 1.2 to 1.3 are usual (from memory). Fill is taken from the cut, "
        f"{work.shrink:g} compacted over bank. Yours may differ: say so in the brief.",
    )
