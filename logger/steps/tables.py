"""The tables of a brief: what the steps shall be, what they are made of, and what stands under them."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from drivers.lengths import INCH_M, Units
from logger.steps.written import (
    Depth,
    Fall,
    Length,
    MaybeDepth,
    MaybeFall,
    MaybeLength,
    MaybeSize,
    Names,
    Size,
    Table,
)

LOOSE = 1.2
"""Loose over compacted volume of crushed stone; from memory, 1.15 to 1.30 is usual."""


class Top(StrEnum):
    """What follows the last riser: a tread of ours, or the grade that is there."""

    TREAD = "tread"
    GRADE = "grade"


class Equal(StrEnum):
    """What is kept equal: every exposed face, or the rise from nosing to nosing."""

    FACE = "face"
    NOSING = "nosing"


class Kind(StrEnum):
    """How a riser is made: any height, whole units of one height, or courses and a cap."""

    FREE = "free"
    WHOLE = "whole"
    COURSES = "courses"


class Building(StrEnum):
    """At which end of the steps a building stands."""

    NONE = ""
    FOOT = "foot"
    HEAD = "head"


class Steps(Table):
    """`[steps]`: the line, the rise, and what is wanted. Lengths in metres, falls as ratios."""

    start_m: MaybeLength = Field(default=None, description="station of the face of the first riser (first point)")
    run_m: MaybeSize = Field(default=None, description="from there to the end of the steps (to the last point)")
    rise_m: MaybeLength = Field(default=None, description="finished height at the end above the bottom grade")
    bottom_m: Length = Field(default=0.0, description="finished grade at the foot, above the ground there")
    foot: str = Field(default="", description="named point: the finished walk below; it gives the bottom grade")
    head: str = Field(default="", description="named point: the patio or sill above; it gives the rise")
    top: Top = Field(
        default=Top.TREAD, description="tread: the last tread is ours; grade: the last riser meets what is there"
    )
    width_m: MaybeSize = Field(default=None, description="clear width of the steps")
    riser_m: MaybeSize = Field(default=None, description="wanted height of a riser, nosing to nosing")
    riser_min_m: MaybeSize = Field(default=None, description="least exposed face")
    riser_max_m: MaybeSize = Field(default=None, description="most from nosing to nosing")
    equal: Equal = Field(default=Equal.FACE, description="kept equal: every face, or nosing to nosing")
    tread_m: Size = Field(..., description="depth of one tread, nosing to nosing")
    tread_max_m: MaybeSize = Field(default=None, description="all treads equal, from tread up to this (tread)")
    landing_m: Size = Field(..., description="least depth of a landing")
    landing_step_m: Depth = Field(
        default=0.0, description="landings grow by whole multiples of this; 0: any depth on the grid"
    )
    flight_risers: int = Field(
        default=0, ge=0, description="most risers without a landing; 0: the strictest of the sets"
    )
    flight_min: int = Field(default=1, ge=1, description="least risers in a flight")
    fall: Fall = Field(default=0.01, description="drainage slope of treads and landings towards the foot")
    landing_fall: MaybeFall = Field(default=None, description="slope of landings where it differs (fall)")
    last_tread_m: MaybeSize = Field(
        default=None, description="depth of the last tread where it differs (tread, or a landing)"
    )
    start_slack_m: Depth = Field(default=0.0, description="how far the foot may move up or down the line")
    grid_m: Size = Field(default=INCH_M / 2, description="riser faces stand on start + whole multiples of this")
    above_weight: float = Field(default=1.0, ge=0, description="weight of ground above the finished surface")
    below_weight: float = Field(default=2.0, ge=0, description="weight of ground below it: fill under steps settles")
    building: Building = Field(default=Building.NONE, description="a building stands at the foot or the head")
    units: Units | None = Field(default=None, description="what a bare number means and how lengths are shown (m)")


class Unit(Table):
    """`[unit]`: the stone or block, if chosen, and what may take up the remainder of whole units."""

    kind: Kind = Field(
        default=Kind.FREE, description="free: any face; whole: units of one height; courses: units and a cap"
    )
    height_m: MaybeSize = Field(default=None, description="height of one unit or course")
    height_tolerance_m: Depth = Field(default=0.0, description="a unit may be this much higher or lower")
    depth_m: MaybeSize = Field(default=None, description="front to back of one unit")
    deep: int = Field(default=1, ge=1, description="units one behind the other in a tread")
    overhang_m: Depth = Field(default=0.0, description="how far the nosing stands before the face below it")
    overlap_m: Depth = Field(default=0.0, description="how far the next unit stands on the tread")
    joint_m: Depth = Field(default=0.0, description="joint between units")
    joint_max_m: MaybeDepth = Field(
        default=None, description="most a bed joint may be made to take up a remainder (joint)"
    )
    cap_m: MaybeDepth = Field(default=None, description="height of the cap on the courses")
    bury_m: Depth = Field(
        default=0.0, description="how deep the first unit of a flight may be set into what is before it"
    )
    fall_min: MaybeFall = Field(default=None, description="least fall that may be used to take up a remainder (fall)")
    fall_max: MaybeFall = Field(default=None, description="most fall that may be used to take up a remainder (fall)")
    foot_up_m: Depth = Field(default=0.0, description="how far the grade at the foot may be raised")
    foot_down_m: Depth = Field(default=0.0, description="how far it may be lowered")
    head_up_m: Depth = Field(default=0.0, description="how far the grade at the head may be raised")
    head_down_m: Depth = Field(default=0.0, description="how far it may be lowered")


class Layer(Table):
    """Thicknesses from the finished surface down, compacted; None where not said."""

    cap_m: MaybeDepth = Field(default=None, description="cap or paver on top")
    unit_m: MaybeDepth = Field(default=None, description="step unit or block")
    bedding_m: MaybeDepth = Field(default=None, description="bedding under it")
    base_m: MaybeDepth = Field(default=None, description="compacted base")


class Layers(Layer):
    """`[layers]`: under the treads; `[layers.landing]` and `[layers.first]` where those differ."""

    landing: Layer = Field(default_factory=Layer, description="under landings, where it differs")
    first: Layer = Field(default_factory=Layer, description="under the first unit, where it differs")
    bury_m: MaybeDepth = Field(
        default=None, description="how much deeper the first unit goes than the grade at the foot"
    )
    geotextile: bool = Field(default=False, description="geotextile under the base")
    topsoil_m: MaybeDepth = Field(default=None, description="topsoil to strip")
    least_depth_m: MaybeDepth = Field(default=None, description="local depth to frost-free or undisturbed ground")
    beside_m: MaybeDepth = Field(default=None, description="how far the base goes beyond the unit on each side")
    working_room_m: MaybeDepth = Field(default=None, description="room to kneel between the steps and a stake")
    loose: Annotated[float, Field(ge=1)] = Field(default=LOOSE, description="loose over compacted volume of the base")
    swell: Annotated[float, Field(ge=1)] = Field(default=1.25, description="dug over undisturbed volume of the soil")
    shrink: Annotated[float, Field(gt=0, le=2)] = Field(
        default=1.0, description="compacted over undisturbed volume of the soil that is used as fill"
    )
    benched: bool = Field(default=True, description="subgrade in benches; false: one slope")


class Cheek(Table):
    """`[cheek]`: walls beside the steps."""

    width_m: MaybeDepth = Field(default=None, description="thickness of the wall on each side")
    above_m: MaybeDepth = Field(default=None, description="how far it stands above the nosings")
    buried_m: MaybeDepth = Field(default=None, description="how deep it goes below the ground")


class Fittings(Table):
    """`[fittings]`: what else is built with the steps, for quantities and the quote."""

    drain: bool = Field(False, description="pipe in drainage stone across the head and behind cheek walls")
    outlet_m: Depth = Field(0.0, description="pipe from there to its outlet")
    edging: bool = Field(False, description="edging along both sides where there are no cheek walls")
    adhesive_beads: int = Field(0, ge=0, description="beads of adhesive under each row of caps")
    lights: int = Field(0, ge=0, description="lights at each riser")
    handrails: int | None = Field(None, ge=0, description="how many; where not said, as many as a rule calls for")
    lap_m: Depth = Field(0.3048, description="lap of the geotextile; a foot is common practice")


class Rules(Table):
    """`[rules]`: which rule sets judge the layouts; none: common practice, which only informs."""

    sets: Names = Field(default=(), description="names of rule sets (see risewalk rules)")


class LandingAt(Table):
    """`[[landing_at]]`: a landing is wanted at a station: a gate, a side path."""

    station_m: Length = Field(..., description="a station that must lie on a landing")
    depth_m: MaybeSize = Field(default=None, description="at least this deep (landing)")


class NoLanding(Table):
    """`[[no_landing]]`: no landing between two stations."""

    begin_m: Annotated[Length, Field(alias="from", description="from this station")]
    end_m: Annotated[Length, Field(alias="to", description="to this one")]
