"""What to mark and where: the chosen layout over the observed ground, every height from the zero.

The riser line is the line to build on. The ground crossings beside it are where the ground as it is today meets the
foot of that riser; they have a mark of their own and are gone once the slope is dug.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from logger.construction import SAME_M, Construction, Layers, Part, construction_of
from logger.courses import Course, laid
from logger.errors import Refused
from logger.observation import Tape
from logger.profile import Ground, Profile
from logger.steps.option import Option

if TYPE_CHECKING:
    from logger.steps.brief import Brief

BESIDE_M = 0.1
"""A dig reaches this much beyond the outermost station that was taken in it."""


@dataclass(frozen=True, slots=True)
class Heights:
    """The levels at one end of a step, above the zero; None where the brief or the ground does not say.

    `base_top_m` is the compacted base, `dig_m` is down from the ground to the subgrade, negative where it is filled.
    """

    finished_m: float | None = None
    base_top_m: float | None = None
    subgrade_m: float | None = None
    ground_m: float | None = None
    dig_m: float | None = None


@dataclass(frozen=True, slots=True)
class Bed:
    """A stretch of step that stands on one bench: where it begins and ends, the levels there, the bedding under it."""

    start_m: float
    end_m: float
    front: Heights
    back: Heights
    bedding_m: float


@dataclass(frozen=True, slots=True)
class Mark:
    """One riser: its line, the distances to it, and the levels at the front and the back of the step above it.

    `beds` are the benches it stands on, from the front: two under a landing whose edge row goes deeper than what lies
    behind it. `courses` make up its face, from the base up.
    """

    riser: int
    part: Part
    face_m: float
    depth_m: float | None
    face_station_m: float
    nosing_station_m: float
    tape_m: float
    level_m: float
    ground_crossings_m: tuple[float, ...]
    front: Heights
    back: Heights
    beds: tuple[Bed, ...] = ()
    courses: tuple[Course, ...] = ()


@dataclass(frozen=True, slots=True)
class Stake:
    """A stake beside the run, and how far down from its top things are (positive: cut, negative: fill).

    `offset_m` is the distance from the centre line to that side. `top_m` is
    None until the stake is driven and its top observed; then so are the three distances.
    """

    name: str
    place: str
    station_m: float
    side: str
    offset_m: float
    nosing_m: float
    base_top_m: float | None
    subgrade_m: float | None
    top_m: float | None = None
    down_to_nosing_m: float | None = None
    down_to_base_m: float | None = None
    down_to_subgrade_m: float | None = None


@dataclass(frozen=True, slots=True)
class SetOut:
    """Everything to mark for one layout; stations and heights in metres.

    Heights are above the zero, which is `datum_elevation_m` below the mark named `datum`: what the instrument's
    heights above zero are, once that mark was observed.
    """

    marks: tuple[Mark, ...]
    stakes: tuple[Stake, ...]
    datum: str
    datum_elevation_m: float
    foot_m: float
    end_station_m: float
    loose_lift_m: float | None
    tape: Tape
    digest: str
    notes: tuple[str, ...] = ()

    @property
    def beds(self) -> Iterator[Bed]:
        """Every bench from the foot up."""
        return (bed for mark in self.marks for bed in mark.beds)

    def finished_line(self) -> list[tuple[float, float]]:
        """Station and height of the finished surface, from the foot over every face and tread to the head."""
        line = [(self.marks[0].face_station_m, self.foot_m)]
        for mark in self.marks:
            assert mark.front.finished_m is not None
            line.append((mark.face_station_m, mark.front.finished_m))
            if mark.depth_m is not None and mark.back.finished_m is not None:
                line.append((mark.face_station_m + mark.depth_m, mark.back.finished_m))
        return line


def set_out(profile: Profile, option: Option, brief: "Brief") -> SetOut:
    """Marks and stakes for a layout; Refused where the ground was assumed and not observed."""
    return marks_of(profile, option, construction_of(brief, option))


def marks_of(profile: Profile, option: Option, build: Construction) -> SetOut:
    """Marks and stakes for a layout built in a given way."""
    if profile.estimate_only:
        raise Refused("estimate_only", "the ground was assumed, not observed: walk it before setting out or digging")
    if profile.by_air:
        raise Refused("by_air", "heights by the pressure of the air cannot set out steps: walk it with a level")
    surface = _Surface(option, profile.ground())
    marks = tuple(_mark(k, surface, build, profile.tape) for k in range(1, option.risers + 1))
    marks = tuple(replace(m, ground_crossings_m=_left(m.ground_crossings_m, profile.dug_m)) for m in marks)
    if not build.benched:
        marks = _on_one_slope(marks)
    return SetOut(
        marks=marks,
        stakes=tuple(_with_top(s, profile) for s in _stakes(marks, surface, build)),
        datum=profile.datum,
        datum_elevation_m=profile.datum_elevation_m,
        foot_m=surface.foot_m,
        end_station_m=surface.end_m,
        loose_lift_m=None if build.tread.base_m is None else build.tread.base_m * build.loose,
        tape=profile.tape,
        digest=profile.digest,
        notes=_notes(profile, surface, build),
    )


def tape_at(station_m: float, ground: Ground, tape: Tape) -> float:
    """What the walk's tape shows at a horizontal station, its zero at station 0 and held as it was in the walk."""
    match tape:
        case Tape.LEVEL:
            return station_m
        case Tape.TAUT:
            return math.copysign(math.hypot(station_m, ground.at(station_m) - ground.at(0.0)), station_m)
        case Tape.GROUND:
            low, high = min(0.0, station_m), max(0.0, station_m)
            inside = ground.stations_m[(ground.stations_m > low) & (ground.stations_m < high)]
            along = np.concatenate([[low], inside, [high]])
            heights = np.array([ground.at(s) for s in along])
            return math.copysign(float(np.hypot(np.diff(along), np.diff(heights)).sum()), station_m)


def crossings(ground: Ground, station_m: float, height_m: float, fall: float) -> tuple[float, ...]:
    """Stations where the ground meets the line through a point with a fall, in order along the profile.

    A stretch of ground lying in the line is given by its two ends.
    """
    x = ground.stations_m
    above = ground.elevations_m - (height_m + fall * (x - station_m))
    found: list[float] = []
    for i, gap in enumerate(above):
        if abs(gap) <= SAME_M:
            inside = 0 < i < len(x) - 1 and abs(above[i - 1]) <= SAME_M and abs(above[i + 1]) <= SAME_M
            found += [] if inside else [float(x[i])]
        elif i + 1 < len(x) and abs(above[i + 1]) > SAME_M and (gap > 0) != (above[i + 1] > 0):
            found.append(float(x[i] + (x[i + 1] - x[i]) * gap / (gap - above[i + 1])))
    return tuple(found)


def _left(crossed: tuple[float, ...], dug_m: tuple[float, float] | None) -> tuple[float, ...]:
    """The crossings where the ground is still there."""
    if dug_m is None:
        return crossed
    return tuple(x for x in crossed if not dug_m[0] - BESIDE_M <= x <= dug_m[1] + BESIDE_M)


class _Surface:
    """The finished surface of a layout above the zero, step by step (k from 1; 0 is the grade at the foot)."""

    def __init__(self, option: Option, ground: Ground) -> None:
        self.option, self.ground = option, ground
        self.foot_m, self.tops_m = option.foot_m, option.tops_m
        self.landings = {landing.after_riser for landing in option.landings}
        self.end_m = option.face_stations_m[-1] + (
            option.depths_m[-1] if len(option.depths_m) == option.risers else 0.0
        )

    def line(self, k: int) -> tuple[float, float, float]:
        """Station, height and fall of the surface of depth k."""
        if k == 0:
            return self.option.face_stations_m[0], self.foot_m, self.option.fall
        fall = self.option.landing_fall if k in self.landings else self.option.fall
        return self.option.face_stations_m[k - 1], self.tops_m[k - 1], fall

    def depth_m(self, k: int) -> float | None:
        """Depth behind riser k; None behind the last riser where it meets what is there."""
        return self.option.depths_m[k - 1] if k <= len(self.option.depths_m) else None

    def part(self, k: int) -> Part:
        """What stands behind riser k."""
        return Part.LANDING if k in self.landings else Part.FIRST if k == 1 else Part.TREAD


def _mark(k: int, surface: _Surface, build: Construction, tape: Tape) -> Mark:
    ground = surface.ground
    station, top, _ = surface.line(k)
    depth, part = surface.depth_m(k), surface.part(k)
    below_station, below_height, below_fall = surface.line(k - 1)
    beds = tuple(_beds(k, surface, build))
    front = beds[0].front if beds else _heights(station, top, ground, build.front_layers(k, part))
    return Mark(
        riser=k,
        part=part,
        face_m=surface.option.faces_m[k - 1],
        depth_m=depth,
        face_station_m=station,
        nosing_station_m=station - build.overhang_m,
        tape_m=tape_at(station, ground, tape),
        level_m=station - surface.option.face_stations_m[0],
        ground_crossings_m=crossings(ground, below_station, below_height, below_fall),
        front=front,
        back=Heights() if depth is None else beds[-1].back,
        beds=beds,
        courses=laid(build, k, part, depth_m=depth, finished_m=top),
    )


def _beds(k: int, surface: _Surface, build: Construction) -> Iterator[Bed]:
    station, top, fall = surface.line(k)
    for start, end, layers in build.stretches(k, surface.part(k), surface.depth_m(k)):
        front, back = (_heights(station + x, top + fall * x, surface.ground, layers) for x in (start, end))
        yield Bed(station + start, station + end, front, back, layers.bedding_m)


def _heights(station_m: float, finished_m: float, ground: Ground, layers: Layers) -> Heights:
    ground_m = ground.at(station_m)
    if layers.above_base_m is None:
        return Heights(finished_m=finished_m, ground_m=ground_m)
    base_top = finished_m - layers.above_base_m
    if layers.base_m is None:
        return Heights(finished_m, base_top, None, ground_m, None)
    subgrade = base_top - layers.base_m
    return Heights(finished_m, base_top, subgrade, ground_m, ground_m - subgrade)


def _on_one_slope(marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
    """The marks with their subgrade on one straight line, at or under every bench: the base is thicker in places."""
    beds = (bed for mark in marks for bed in mark.beds)
    ends = [(x, end.subgrade_m) for b in beds for x, end in ((b.start_m, b.front), (b.end_m, b.back))]
    known = [(x, height) for x, height in ends if height is not None]
    if len(known) < 2 or known[-1][0] <= known[0][0]:
        return marks
    slope = (known[-1][1] - known[0][1]) / (known[-1][0] - known[0][0])
    low = min(height - slope * station for station, height in known)

    def moved(end: Heights, station_m: float) -> Heights:
        if end.subgrade_m is None or end.ground_m is None:
            return end
        subgrade = low + slope * station_m
        return replace(end, subgrade_m=subgrade, dig_m=end.ground_m - subgrade)

    def under(mark: Mark) -> Mark:
        laid = tuple(replace(b, front=moved(b.front, b.start_m), back=moved(b.back, b.end_m)) for b in mark.beds)
        back = mark.back if mark.depth_m is None else laid[-1].back
        return replace(mark, front=moved(mark.front, mark.face_station_m), back=back, beds=laid)

    return tuple(under(mark) for mark in marks)


def _stakes(marks: tuple[Mark, ...], surface: _Surface, build: Construction) -> Iterator[Stake]:
    if build.width_m is None:
        return
    number = 0
    for station, place, nosing, at in _stake_places(marks, surface):
        for side in ("left", "right"):
            number += 1
            yield Stake(f"S{number}", place, station, side, build.stake_offset_m, nosing, at.base_top_m, at.subgrade_m)


def _stake_places(marks: tuple[Mark, ...], surface: _Surface) -> Iterator[tuple[float, str, float, Heights]]:
    """Where a string line has to be held: foot, both ends of each landing, head."""
    for mark in marks:
        behind_landing = mark.riser - 1 in surface.landings
        if mark.riser == 1 or mark.part is Part.LANDING or behind_landing:
            place = "foot" if mark.riser == 1 else f"riser {mark.riser}"
            assert mark.front.finished_m is not None
            yield mark.face_station_m, place, mark.front.finished_m, mark.front
    last = marks[-1]
    if last.depth_m is not None:
        assert last.back.finished_m is not None
        yield surface.end_m, "head", last.back.finished_m, last.back
    elif last.riser != 1 and last.riser - 1 not in surface.landings:
        assert last.front.finished_m is not None
        yield last.face_station_m, "head", last.front.finished_m, last.front


def _with_top(stake: Stake, profile: Profile) -> Stake:
    """The stake with its cuts, where a point of its name was observed."""
    for point in profile.named:
        if point.name == stake.name:
            return driven(stake, point.elevation_m)
    return stake


def driven(stake: Stake, top_m: float) -> Stake:
    """The stake with the height of its top, above the zero, and the cuts to write on it."""

    def down(to_m: float | None) -> float | None:
        return None if to_m is None else top_m - to_m

    return replace(
        stake,
        top_m=top_m,
        down_to_nosing_m=down(stake.nosing_m),
        down_to_base_m=down(stake.base_top_m),
        down_to_subgrade_m=down(stake.subgrade_m),
    )


def _notes(profile: Profile, surface: _Surface, build: Construction) -> tuple[str, ...]:
    notes, stations = list(profile.notes), surface.ground.stations_m
    if profile.dug_m is not None:
        notes.append(
            f"dug from station {profile.dug_m[0]:.2f} m to {profile.dug_m[1]:.2f} m: no ground crossings there"
        )
    if surface.end_m > stations[-1] + SAME_M or surface.line(1)[0] < stations[0] - SAME_M:
        notes.append("the steps go beyond the ground that was observed; ground and digging there are assumed level")
    if build.tread.unit_m is None:
        notes.append("no layers in the brief: base tops, subgrade and digging cannot be given")
    if build.width_m is None:
        notes.append("no width in the brief: stakes cannot be placed")
    if surface.depth_m(surface.option.risers) is None:
        notes.append(f"riser {surface.option.risers} meets what is there: its edge is built, the surface behind is not")
    return tuple(notes)
