"""What lies under the finished surface and beside it: the layers of a step, read by set-out, digging and quantities.

Every thickness is in metres, compacted, measured straight down. The base is the compacted granular layer; its top is
the height the crew works to all day.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from math import ceil
from typing import TYPE_CHECKING

from logger.steps.option import Option, Verdict

if TYPE_CHECKING:
    from logger.steps.brief import Brief
    from logger.steps.tables import Layer, Unit

SAME_M = 1e-9
"""Heights closer than this are the same; far below what any instrument shows."""
WORKING_ROOM_M = 0.6096
"""Room to kneel between the steps and a stake; two feet, common practice."""


class Part(StrEnum):
    """Which part of the flight a depth is: its layers may differ."""

    FIRST = "first"
    TREAD = "tread"
    LANDING = "landing"


@dataclass(frozen=True, slots=True)
class Layers:
    """Thicknesses from the finished surface down; None where the brief does not say.

    `unit_m` is the step unit, block or paver under the cap; `bury_m` is what the first unit goes deeper than that, so
    that its foot is held by the ground.
    """

    cap_m: float = 0.0
    unit_m: float | None = None
    bedding_m: float = 0.0
    base_m: float | None = None
    bury_m: float = 0.0

    @property
    def above_base_m(self) -> float | None:
        """From the finished surface down to the top of the compacted base."""
        return None if self.unit_m is None else self.cap_m + self.unit_m + self.bury_m + self.bedding_m


@dataclass(frozen=True, slots=True)
class Construction:
    """How the steps are built, as far as the ground has to know.

    `width_m` is the clear width; `cheek_m` the thickness of a wall on each side; `beside_m` how far the base goes
    beyond the unit on each side and in front of the first; `least_depth_m` the user's local figure for frost or
    undisturbed ground, below the finished surface; `loose` the loose over the compacted volume of the base. `edge_m` is
    how far the row of units at the front of a landing reaches back, 0 where it has none; `course_m` the height of one
    course with its joint, None where each riser is one unit.
    """

    width_m: float | None = None
    overhang_m: float = 0.0
    tread: Layers = Layers()
    landing: Layers = Layers()
    first: Layers = Layers()
    least_depth_m: float = 0.0
    cheek_m: float = 0.0
    beside_m: float = 0.0
    working_room_m: float = WORKING_ROOM_M
    loose: float = 1.2
    unit_depth_m: float | None = None
    edge_m: float = 0.0
    course_m: float | None = None
    overlap_m: float = 0.0
    joint_m: float = 0.0
    geotextile: bool = False
    lap_m: float = 0.3048
    cheek_buried_m: float = 0.0
    cheek_above_m: float = 0.0
    benched: bool = True
    drain: bool = False
    outlet_m: float = 0.0
    edging: bool = False
    adhesive_beads: int = 0
    lights: int = 0
    handrails: int = 0
    handrail_top_m: float = 0.3048
    source: str = "the brief"

    def missing(self) -> list[str]:
        """What digging and quantities cannot do without and the brief does not say, as places in it."""
        wanted = {
            "steps.width": self.width_m,
            "layers.unit": self.tread.unit_m,
            "layers.base": self.tread.base_m,
        }
        return [f"{place}: is needed for digging and quantities" for place, value in wanted.items() if value is None]

    def layers(self, part: Part) -> Layers:
        """The layers under one part, with the base deepened where the local depth asks for more."""
        return self._deep_enough({Part.FIRST: self.first, Part.TREAD: self.tread, Part.LANDING: self.landing}[part])

    def _deep_enough(self, layers: Layers) -> Layers:
        above = layers.above_base_m
        if above is None or layers.base_m is None:
            return layers
        return replace(layers, base_m=max(layers.base_m, self.least_depth_m - above))

    def front_layers(self, riser: int, part: Part) -> Layers:
        """The layers under the row of units that makes a face: before a landing not those of the landing itself."""
        if part is not Part.LANDING or not self.edge_m:
            return self.layers(part)
        if riser == 1:
            return self.layers(Part.FIRST)
        return self._deep_enough(replace(self.tread, base_m=self.landing.base_m))

    def stretches(self, riser: int, part: Part, depth_m: float | None) -> Iterator[tuple[float, float, Layers]]:
        """What lies on one bench behind a face: from, to (behind the face), and its layers.

        A landing is benched behind its edge row; the last riser against the grade has that row alone.
        """
        front, behind = self.front_layers(riser, part), self.layers(part)
        depth = self.edge_m if depth_m is None else depth_m
        if front != behind and 0 < self.edge_m < depth:
            yield 0.0, self.edge_m, front
            yield self.edge_m, depth, behind
        elif depth:
            yield 0.0, depth, front

    @property
    def stake_offset_m(self) -> float:
        """How far from the centre line a stake survives the digging."""
        return (self.width_m or 0.0) / 2 + max(self.cheek_m, self.beside_m) + self.working_room_m


def construction_of(brief: "Brief", option: Option) -> Construction:
    """How one layout is built, as the brief says; what it does not say stays None or has the default told there.

    Without `layers.unit` the unit is as thick as `[unit]` says, or as the courses that make up the face.
    """
    from logger.steps.tables import Kind

    layers, unit, cheek = brief.layers, brief.unit, brief.cheek
    cap = layers.cap_m if layers.cap_m is not None else unit.cap_m or 0.0
    thick = layers.unit_m
    if thick is None:
        thick = option.face_m - cap if unit.kind is Kind.COURSES else unit.height_m
    tread = Layers(cap, thick, layers.bedding_m or 0.0, layers.base_m)
    first = _where_it_differs(tread, layers.first)
    course = _course(unit, thick)
    build = Construction(
        width_m=brief.steps.width_m,
        overhang_m=unit.overhang_m,
        tread=tread,
        landing=_where_it_differs(tread, layers.landing),
        first=replace(first, bury_m=_deeper(first, option, layers.bury_m, course)),
        least_depth_m=layers.least_depth_m or 0.0,
        cheek_m=cheek.width_m or 0.0,
        cheek_buried_m=cheek.buried_m or 0.0,
        cheek_above_m=cheek.above_m or 0.0,
        beside_m=layers.beside_m or 0.0,
        working_room_m=WORKING_ROOM_M if layers.working_room_m is None else layers.working_room_m,
        loose=layers.loose,
        benched=layers.benched,
        course_m=course,
        source=brief.source,
    )
    return _fitted(build, brief, option)


def _fitted(build: Construction, brief: "Brief", option: Option) -> Construction:
    """The construction with what only quantities and the quote ask for."""
    unit, fittings = brief.unit, brief.fittings
    return replace(
        build,
        unit_depth_m=unit.depth_m,
        edge_m=option.tread_m if unit.depth_m is None else max(0.0, unit.depth_m - unit.overhang_m) or option.tread_m,
        overlap_m=unit.overlap_m,
        joint_m=unit.joint_m,
        geotextile=brief.layers.geotextile,
        lap_m=fittings.lap_m,
        drain=fittings.drain,
        outlet_m=fittings.outlet_m,
        edging=fittings.edging,
        adhesive_beads=fittings.adhesive_beads,
        lights=fittings.lights,
        handrails=_handrails(option) if fittings.handrails is None else fittings.handrails,
    )


def _handrails(option: Option) -> int:
    """One where a rule calls for a handrail, else none; both sides only where the brief says so."""
    return int(any("handrail" in f.rule and f.status is not Verdict.PASS for f in option.findings))


def _where_it_differs(tread: Layers, other: "Layer") -> Layers:
    """The layers of another part: its own thicknesses, the tread's where it says none."""

    def own(thickness: float | None, otherwise: float) -> float:
        return otherwise if thickness is None else thickness

    return Layers(
        cap_m=own(other.cap_m, tread.cap_m),
        unit_m=tread.unit_m if other.unit_m is None else other.unit_m,
        bedding_m=own(other.bedding_m, tread.bedding_m),
        base_m=tread.base_m if other.base_m is None else other.base_m,
    )


def _course(unit: "Unit", thick_m: float | None) -> float | None:
    """The height of one course as laid: the whole of them make up the face, so the bed joints take the remainder."""
    from logger.steps.tables import Kind

    if unit.kind is not Kind.COURSES or unit.height_m is None or thick_m is None:
        return None
    return thick_m / max(1, round(thick_m / (unit.height_m + unit.joint_m)))


def _deeper(first: Layers, option: Option, bury_m: float | None, course_m: float | None) -> float:
    """What is needed below the first unit so that its foot stands `bury_m` under the grade; in whole courses."""
    if bury_m is None or first.unit_m is None:
        return 0.0
    more = max(0.0, option.faces_m[0] + bury_m - first.cap_m - first.unit_m)
    return more if course_m is None else ceil(more / course_m - SAME_M) * course_m
