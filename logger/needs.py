"""What one layout needs, net: volumes, rows, areas and lengths, each with how it came about.

Lengths become exact decimals once, rounded to a tenth of a millimetre; from there on every sum is in `Decimal`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from math import hypot

from logger.catalogue import Kind, Use
from logger.construction import Construction, Part
from logger.earthworks import Earthworks
from logger.errors import WrongFile
from logger.setout import Mark, SetOut

TENTH_MM = Decimal("0.0001")
DRAIN_SIDE_M = 0.3
"""Width and depth of the drainage stone around a pipe: 12 in (common practice)."""


@dataclass(frozen=True, slots=True)
class Need:
    """A net requirement in SI: `rows` of `row` metres where pieces are laid side by side, else just a quantity.

    `loose` is what a compacted volume grows to when it is bought loose.
    """

    use: Use
    quantity: Decimal
    kind: Kind
    how: str
    rows: int = 0
    row: Decimal = Decimal(0)
    loose: Decimal = Decimal(1)


def exact(value: float) -> Decimal:
    """A length, area or volume as a decimal, rounded once to four places."""
    return Decimal(repr(value)).quantize(TENTH_MM, ROUND_HALF_EVEN)


def count(number: int, name: str) -> str:
    """`1 row`, `2 rows`."""
    return f"{number} {name}{'' if number == 1 else 's'}"


def short(value: Decimal) -> str:
    """A figure without the zeros at its end."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def needs(plan: SetOut, work: Earthworks, build: Construction) -> tuple[Need, ...]:
    """Everything one layout needs, in the order of the work."""
    if missing := build.missing():
        raise WrongFile(build.source, missing)
    made = (_digging, _base, _units, _landings, _walls, _drains, _fittings)
    return tuple(need for make in made for need in make(plan, work, build) if need.quantity > 0)


def _digging(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    volumes, size = work.volumes, f"{work.length_m:.2f} m by {work.width_m:.2f} m"
    trench = f", {work.trench_m3:.2f} m3 of it in trenches for cheek walls" if work.trench_m3 else ""
    how = f"ground to subgrade over {size}, in the bank{trench}"
    yield Need(Use.DIGGING, exact(volumes.cut_m3 + work.trench_m3), Kind.VOLUME, how)
    yield Need(Use.TOPSOIL, exact(volumes.topsoil_m3), Kind.VOLUME, "stripped first and kept apart, in the bank")
    yield Need(Use.FILL, exact(volumes.fill_m3), Kind.VOLUME, "below the subgrade, compacted")
    yield Need(Use.DISPOSAL, exact(work.spoil_loose_m3), Kind.VOLUME, f"loose; {work.spoil_bank_m3:.2f} m3 in the bank")


def _base(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    how = f"under {work.subgrade_area_m2:.2f} m2, compacted"
    yield Need(Use.BASE, exact(work.base_m3), Kind.VOLUME, how, loose=exact(build.loose))
    yield Need(Use.BEDDING, exact(work.bedding_m3), Kind.VOLUME, "under every unit, as screeded")
    if build.geotextile:
        up = 2 * (build.tread.base_m or 0.0)
        length = work.length_m + up + build.lap_m
        area = length * (work.width_m + up)
        yield Need(
            Use.GEOTEXTILE,
            exact(area),
            Kind.AREA,
            f"subgrade, up the sides of the base, and a lap of {build.lap_m:.2f} m",
        )


def _units(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    assert build.width_m is not None
    row = exact(build.width_m)
    counts = [_rows(mark, build) for mark in plan.marks]
    rows, buried = sum(counts), 1 if build.first.bury_m > 0 else 0
    how = f"{count(len(plan.marks), 'riser')}, {count(rows, 'row')}" + (", 1 buried row at the foot" if buried else "")
    yield Need(Use.UNIT, row * (rows + buried), Kind.LENGTH, how, rows + buried, row)
    capped = sum(n for mark, n in zip(plan.marks, counts, strict=True) if build.layers(mark.part).cap_m > 0)
    yield Need(Use.CAP, row * capped, Kind.LENGTH, f"{count(capped, 'row')} capped", capped, row)
    beads = build.adhesive_beads * capped
    yield Need(
        Use.ADHESIVE,
        row * beads,
        Kind.LENGTH,
        f"{count(build.adhesive_beads, 'bead')} under each of {count(capped, 'row')} of caps",
    )


def _rows(mark: Mark, build: Construction) -> int:
    """Rows of units behind one riser: as deep as the tread, one edge row before a landing or against the grade."""
    if mark.depth_m is None or mark.part is Part.LANDING or build.unit_depth_m is None:
        return 1
    covered = mark.depth_m + build.overhang_m + build.overlap_m
    return max(1, int((covered + build.joint_m - 1e-6) // (build.unit_depth_m + build.joint_m)) + 1)


def _landings(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    assert build.width_m is not None
    edge = 0.0 if build.unit_depth_m is None else build.unit_depth_m - build.overhang_m
    deep = [m.depth_m - edge for m in plan.marks if m.part is Part.LANDING and m.depth_m is not None]
    said = "their whole depth, the edge row is counted apart" if build.unit_depth_m is None else "behind the edge row"
    yield Need(Use.PAVER, exact(sum(deep) * build.width_m), Kind.AREA, f"{count(len(deep), 'landing')}, {said}")


def _walls(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    left, right = work.cheek_m2
    how = f"left {left:.2f} m2, right {right:.2f} m2, {build.cheek_buried_m:.2f} m of it buried"
    yield Need(Use.CHEEK, exact(left + right), Kind.AREA, how)


def _drains(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    if not build.drain:
        return
    assert build.width_m is not None
    run = plan.end_station_m - plan.marks[0].face_station_m
    beside = 2 * run if build.cheek_m else 0.0
    length = build.width_m + 2 * build.cheek_m + beside + build.outlet_m
    how = f"across the head{', behind both cheeks' if beside else ''}, {build.outlet_m:.2f} m to the outlet"
    yield Need(Use.PIPE, exact(length), Kind.LENGTH, how)
    stone = length * DRAIN_SIDE_M**2
    yield Need(Use.STONE, exact(stone), Kind.VOLUME, f"{length:.2f} m of trench {DRAIN_SIDE_M} m square")


def _fittings(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    run = plan.end_station_m - plan.marks[0].face_station_m
    if build.edging and not build.cheek_m:
        yield Need(Use.EDGING, exact(2 * run), Kind.LENGTH, "both sides of the run")
    lights = build.lights * len(plan.marks)
    yield Need(Use.LIGHT, Decimal(lights), Kind.COUNT, f"{build.lights} at each of {len(plan.marks)} risers")
    if build.handrails:
        rise = (plan.marks[-1].front.finished_m or 0.0) - plan.foot_m
        extra = build.handrail_top_m + (plan.marks[0].depth_m or 0.0)
        along = hypot(run, rise) + extra
        yield Need(
            Use.HANDRAIL,
            exact(along * build.handrails),
            Kind.LENGTH,
            f"{build.handrails} up the slope, each {build.handrail_top_m:.2f} m on at the head, a tread at the foot",
        )
