"""What one layout needs, net: volumes, rows, areas and lengths, each with how it came about.

Lengths become exact decimals once, rounded to a nanometre; from there on every sum is in `Decimal`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import pairwise
from math import hypot

from drivers.lengths import Units
from logger import measures
from logger.catalogue import PER, Kind, Use
from logger.construction import Construction, Part
from logger.courses import Sort
from logger.earthworks import Earthworks
from logger.errors import WrongFile
from logger.setout import SetOut

FINEST = Decimal("1e-9")
"""Every 64th of an inch is a whole number of these: pieces that fill a row must not come out as a little less."""
TON_T = float(PER["ton"][1]) / 1000
USUAL_T_PER_M3 = {Use.BASE: (2.1, 2.3), Use.BEDDING: (1.7, 1.9), Use.STONE: (1.5, 1.6)}
"""Tonnes of one cubic metre as placed, dense crushed base, compacted sand and open-graded stone: from memory."""
DRAIN_SIDE_M = 0.3048
"""Width and depth of the drainage stone around a pipe: 12 in (common practice)."""


@dataclass(frozen=True, slots=True)
class Need:
    """A net requirement in SI: `rows` of `row` metres where pieces are laid side by side, `joint` between two of them.

    `loose` is what a compacted volume grows to when it is bought loose; `units` come first where it is put in words.
    """

    use: Use
    quantity: Decimal
    kind: Kind
    how: str
    rows: int = 0
    row: Decimal = Decimal(0)
    joint: Decimal = Decimal(0)
    loose: Decimal = Decimal(1)
    units: Units = Units.METRES


def exact(value: float) -> Decimal:
    """A length, area or volume as a decimal, rounded once to nine places."""
    return Decimal(repr(value)).quantize(FINEST, ROUND_HALF_EVEN)


def count(number: int, name: str) -> str:
    """`1 row`, `2 rows`."""
    return f"{number} {name}{'' if number == 1 else 's'}"


@dataclass(frozen=True, slots=True)
class Job:
    """One layout to be built: its marks, its digging, how it is built, and the units it is put in words by."""

    plan: SetOut
    work: Earthworks
    build: Construction
    units: Units

    @property
    def width_m(self) -> float:
        """The clear width, which digging cannot do without."""
        assert self.build.width_m is not None
        return self.build.width_m

    @property
    def run_m(self) -> float:
        """From the first riser line to the end of the steps."""
        return self.plan.end_station_m - self.plan.marks[0].face_station_m

    @property
    def benches_m(self) -> float:
        """How far the subgrade goes up and down between its benches, all of them together."""
        pairs = pairwise(self.plan.beds)
        steps = ((a.back.subgrade_m, b.front.subgrade_m) for a, b in pairs)
        total = sum(abs(high - low) for low, high in steps if low is not None and high is not None)
        return total if self.build.benched else 0.0

    def length(self, value_m: float) -> str:
        """A length in both systems."""
        return measures.both(measures.length(value_m, self.units))

    def area(self, m2: float) -> str:
        """An area in both systems."""
        return measures.both(measures.area(m2, self.units))

    def mass(self, use: Use, m3: float) -> str:
        """What a volume as placed weighs where its density is the usual one; what is sold by mass has its own."""
        least, most = USUAL_T_PER_M3[use]
        tonnes = f"{least * m3:.2f} to {most * m3:.2f} t"
        tons = f"{least * m3 / TON_T:.2f} to {most * m3 / TON_T:.2f} ton"
        pair = (tons, tonnes) if measures.customary(self.units) else (tonnes, tons)
        return f"{measures.both(pair)} at the usual {least:g} to {most:g} t/m³ (from memory)"

    def volume(self, m3: float) -> str:
        """A volume in both systems."""
        return measures.both(measures.volume(m3, self.units))


def needs(plan: SetOut, work: Earthworks, build: Construction, *, units: Units = Units.METRES) -> tuple[Need, ...]:
    """Everything one layout needs, in the order of the work."""
    if missing := build.missing():
        raise WrongFile(build.source, missing)
    job = Job(plan, work, build, units)
    made = (_digging, _base, _units, _landings, _walls, _drains, _fittings)
    return tuple(replace(need, units=units) for make in made for need in make(job) if need.quantity > 0)


def _digging(job: Job) -> Iterator[Need]:
    work = job.work
    trench = f", {job.volume(work.trench_m3)} of it in trenches for cheek walls" if work.trench_m3 else ""
    how = f"ground to subgrade over {job.length(work.length_m)} by {job.length(work.width_m)}, in the bank{trench}"
    yield Need(Use.DIGGING, exact(work.volumes.cut_m3 + work.trench_m3), Kind.VOLUME, how)
    yield Need(Use.TOPSOIL, exact(work.volumes.topsoil_m3), Kind.VOLUME, "stripped first and kept apart, in the bank")
    yield Need(Use.FILL, exact(work.volumes.fill_m3), Kind.VOLUME, "below the subgrade, compacted")
    how = f"loose; {job.volume(work.spoil_bank_m3)} in the bank"
    yield Need(Use.DISPOSAL, exact(work.spoil_loose_m3), Kind.VOLUME, how)


def _base(job: Job) -> Iterator[Need]:
    work, build = job.work, job.build
    how = f"under {job.area(work.subgrade_area_m2)}, compacted; {job.mass(Use.BASE, work.base_m3)}"
    yield Need(Use.BASE, exact(work.base_m3), Kind.VOLUME, how, loose=exact(build.loose))
    how = f"under every unit, as screeded; {job.mass(Use.BEDDING, work.bedding_m3)}"
    yield Need(Use.BEDDING, exact(work.bedding_m3), Kind.VOLUME, how)
    if build.geotextile:
        up = 2 * (build.tread.base_m or 0.0)
        area = (work.length_m + job.benches_m + up + build.lap_m) * (work.width_m + up)
        over = f" and {job.length(job.benches_m)} up from bench to bench" if job.benches_m else ""
        how = f"subgrade{over}, up the sides of the base, and a lap of {job.length(build.lap_m)}"
        yield Need(Use.GEOTEXTILE, exact(area), Kind.AREA, how)


def _units(job: Job) -> Iterator[Need]:
    build, row, joint = job.build, exact(job.width_m), exact(job.build.joint_m)
    rows = {sort: sum(c.rows for m in job.plan.marks for c in m.courses if c.sort is sort) for sort in Sort}
    units, capped, buried = rows[Sort.UNIT] + rows[Sort.BURIED], rows[Sort.CAP], rows[Sort.BURIED]
    high = "" if build.course_m is None else f" in courses of {job.length(build.course_m)}"
    how = f"{count(len(job.plan.marks), 'riser')}, {count(rows[Sort.UNIT], 'row')}{high}"
    how += f", {count(buried, 'buried row')} at the foot" if buried else ""
    yield Need(Use.UNIT, row * units, Kind.LENGTH, how, units, row, joint)
    yield Need(Use.CAP, row * capped, Kind.LENGTH, f"{count(capped, 'row')} capped", capped, row, joint)
    beads = build.adhesive_beads
    how = f"{count(beads, 'bead')} under each of {count(capped, 'row')} of caps"
    yield Need(Use.ADHESIVE, row * beads * capped, Kind.LENGTH, how)


def _landings(job: Job) -> Iterator[Need]:
    edge, landings = job.build.edge_m, [m for m in job.plan.marks if m.part is Part.LANDING]
    deep = sum(max(0.0, m.depth_m - edge) for m in landings if m.depth_m is not None)
    how = f"{count(len(landings), 'landing')}, behind an edge row {job.length(edge)} deep, counted with the units"
    yield Need(Use.PAVER, exact(deep * job.width_m), Kind.AREA, how)


def _walls(job: Job) -> Iterator[Need]:
    left, right = job.work.cheek_m2
    how = f"left {job.area(left)}, right {job.area(right)}, {job.length(job.build.cheek_buried_m)} of it buried"
    yield Need(Use.CHEEK, exact(left + right), Kind.AREA, how)


def _drains(job: Job) -> Iterator[Need]:
    build = job.build
    if not build.drain:
        return
    beside = 2 * job.run_m if build.cheek_m else 0.0
    pipe = job.width_m + 2 * build.cheek_m + beside + build.outlet_m
    how = f"across the head{', behind both cheeks' if beside else ''}, {job.length(build.outlet_m)} to the outlet"
    yield Need(Use.PIPE, exact(pipe), Kind.LENGTH, how)
    stone = pipe * DRAIN_SIDE_M**2
    how = f"{job.length(pipe)} of trench, {job.length(DRAIN_SIDE_M)} square; {job.mass(Use.STONE, stone)}"
    yield Need(Use.STONE, exact(stone), Kind.VOLUME, how)


def _fittings(job: Job) -> Iterator[Need]:
    build, marks = job.build, job.plan.marks
    if build.edging and not build.cheek_m:
        yield Need(Use.EDGING, exact(2 * job.run_m), Kind.LENGTH, "both sides of the run")
    lights = build.lights * len(marks)
    yield Need(Use.LIGHT, Decimal(lights), Kind.COUNT, f"{build.lights} at each of {len(marks)} risers")
    if build.handrails:
        rise = (marks[-1].front.finished_m or 0.0) - job.plan.foot_m
        along = hypot(job.run_m, rise) + build.handrail_top_m + (marks[0].depth_m or 0.0)
        how = f"{build.handrails} up the slope, each {job.length(build.handrail_top_m)} on at the head"
        how += ", a tread at the foot"
        yield Need(Use.HANDRAIL, exact(along * build.handrails), Kind.LENGTH, how)
