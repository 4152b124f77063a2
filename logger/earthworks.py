"""Digging: what lies between the ground and the subgrade, as volumes in the bank, loose and compacted.

Between two sections the volume is the mean of the two end areas times the distance (average end area). Sections stand
at every break of the ground or the subgrade and wherever one of the observed lines changes from cut to fill, so that
with one ground line the result is exact.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from drivers.lengths import Units
from logger import measures
from logger.construction import SAME_M, Construction
from logger.errors import Refused, WrongFile
from logger.profile import Floats, Ground, Profile, ProfilePoint
from logger.setout import SetOut

DEEP_M = 1.2
"""An unshored cut deeper than this is flagged; common practice, about four feet. Local law may say less."""
FINEST_M = 0.25
"""Sections never stand further apart than this where the ground was observed on more than one line."""


@dataclass(frozen=True, slots=True)
class Soil:
    """Factors of the ground: loose over bank volume, compacted over bank volume, thickness of topsoil.

    The defaults are common practice, from memory: 20 to 30 % swell for soil; no topsoil unless the user says so.
    """

    swell: float = 1.25
    shrink: float = 1.0
    topsoil_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Volumes:
    """Cut and fill in cubic metres: `cut` in the bank with its topsoil, `fill` compacted."""

    cut_m3: float
    fill_m3: float
    topsoil_m3: float
    deepest_m: float


@dataclass(frozen=True, slots=True)
class Earthworks:
    """All volumes of one layout in cubic metres, and how wide and long the digging is in metres.

    `cheek_m2` is the side of the cheek walls left and right, from the bottom of their trench to their top.
    """

    volumes: Volumes
    width_m: float
    length_m: float
    subgrade_area_m2: float
    base_m3: float
    base_loose_m3: float
    bedding_m3: float
    trench_m3: float
    cheek_m2: tuple[float, float]
    spoil_bank_m3: float
    spoil_loose_m3: float
    loose: float
    swell: float
    shrink: float
    warnings: tuple[str, ...]


class Across:
    """The ground left, centre and right of the line: linear along and across, level beyond what was observed."""

    def __init__(self, profile: Profile) -> None:
        self.centre = profile.ground()
        self.sides: dict[int, tuple[Floats, Floats, Floats]] = {}
        for sign in (-1, 1):
            seen = [p for p in profile.points if p.offset_m * sign > 0]
            if seen:
                # One point a station and side: the one nearest the line stands for the side.
                nearest = {p.station_m: p for p in sorted(seen, key=lambda p: -abs(p.offset_m))}
                line = [nearest[s] for s in sorted(nearest)]
                self.sides[sign] = (
                    np.array([p.station_m for p in line]),
                    np.array([abs(p.offset_m) for p in line]),
                    np.array([p.elevation_m for p in line]),
                )

    def at(self, station_m: float, offset_m: float) -> float:
        """Ground height at a station and an offset, right positive."""
        centre = self.centre.at(station_m)
        side = self.sides.get(1 if offset_m > 0 else -1)
        if side is None or offset_m == 0:
            return centre
        out = float(np.interp(station_m, side[0], side[1]))
        height = float(np.interp(station_m, side[0], side[2]))
        return centre + (height - centre) * min(1.0, abs(offset_m) / out)

    def offsets(self, station_m: float, half_m: float) -> Floats:
        """Where the ground breaks across a section of a given half width, its two edges included."""
        inner = [
            sign * out
            for sign, side in self.sides.items()
            if (out := float(np.interp(station_m, side[0], side[1]))) < half_m
        ]
        return np.array(sorted({-half_m, half_m, 0.0, *inner}))

    def breaks(self) -> Iterator[float]:
        """Stations where any of the lines bends."""
        yield from self.centre.stations_m.tolist()
        for stations, _, _ in self.sides.values():
            yield from stations.tolist()


def section_areas(depths_m: Floats, offsets_m: Floats) -> tuple[float, float]:
    """Cut and fill area of one cross-section in square metres; depths down from the ground, linear between offsets."""
    cut = fill = 0.0
    for (d0, d1), (o0, o1) in zip(pairwise(depths_m.tolist()), pairwise(offsets_m.tolist()), strict=True):
        c, f = _split(d0, d1, o1 - o0)
        cut, fill = cut + c, fill + f
    return cut, fill


def _split(d0: float, d1: float, length: float) -> tuple[float, float]:
    """Areas above and below zero of a line from d0 to d1 over a length."""
    if d0 * d1 >= 0:
        area = (d0 + d1) / 2 * length
        return (area, 0.0) if area >= 0 else (0.0, -area)
    share = abs(d0) / (abs(d0) + abs(d1))
    first, second = abs(d0) * share * length / 2, abs(d1) * (1 - share) * length / 2
    return (first, second) if d0 > 0 else (second, first)


def volume_between(across: Across, subgrade: Ground, half_m: float) -> Volumes:
    """Cut and fill between the ground and one straight-lined stretch of subgrade, by average end area."""
    stations = _sections(across, subgrade)
    cut = fill = deepest = 0.0
    before: tuple[float, float] | None = None
    for i, x in enumerate(stations):
        offsets = across.offsets(x, half_m)
        depths = np.array([across.at(x, o) for o in offsets]) - subgrade.at(x)
        areas = section_areas(depths, offsets)
        deepest = max(deepest, float(depths.max()))
        if before is not None:
            step = x - stations[i - 1]
            cut += (before[0] + areas[0]) / 2 * step
            fill += (before[1] + areas[1]) / 2 * step
        before = areas
    return Volumes(cut, fill, 0.0, deepest)


def _sections(across: Across, subgrade: Ground) -> list[float]:
    start, end = float(subgrade.stations_m[0]), float(subgrade.stations_m[-1])
    breaks = {start, end, *(x for x in across.breaks() if start < x < end), *subgrade.stations_m.tolist()}
    if across.sides:
        count = max(1, int(np.ceil((end - start) / FINEST_M)))
        breaks |= set(np.linspace(start, end, count + 1).tolist())
    ordered = sorted(breaks)
    zeros = set()
    for a, b in pairwise(ordered):
        d0, d1 = across.centre.at(a) - subgrade.at(a), across.centre.at(b) - subgrade.at(b)
        if d0 * d1 < 0:
            zeros.add(a + (b - a) * d0 / (d0 - d1))
    return sorted(breaks | zeros)


def dig(profile: Profile, plan: SetOut, build: Construction, soil: Soil, *, units: Units = Units.METRES) -> Earthworks:
    """All volumes for a layout, warnings in `units`; Refused where ground was assumed, WrongFile names what lacks."""
    if profile.estimate_only:
        raise Refused("estimate_only", "the ground was assumed, not observed: walk it before digging")
    if profile.by_air:
        raise Refused("by_air", "heights by the pressure of the air cannot tell what to dig: walk it with a level")
    if missing := build.missing():
        raise WrongFile(build.source, missing)
    assert build.width_m is not None
    width = build.width_m + 2 * max(build.beside_m, build.cheek_m)
    across, parts = Across(profile), list(_stretches(plan, build))
    volumes = [volume_between(across, part.subgrade, width / 2) for part in parts]
    cut, fill = sum(v.cut_m3 for v in volumes), sum(v.fill_m3 for v in volumes)
    length = sum(part.length_m for part in parts)
    base = sum(part.length_m * part.base_m for part in parts) * width
    topsoil = min(cut, soil.topsoil_m * width * length)
    deepest = max(v.deepest_m for v in volumes)
    trench = _trenches(profile, parts, build)
    spoil = max(0.0, cut - topsoil + trench - fill / soil.shrink)
    return Earthworks(
        volumes=Volumes(cut, fill, topsoil, deepest),
        width_m=width,
        length_m=length,
        subgrade_area_m2=length * width,
        base_m3=base,
        base_loose_m3=base * build.loose,
        bedding_m3=sum(part.length_m * part.bedding_m for part in parts) * build.width_m,
        trench_m3=trench,
        cheek_m2=_cheeks(profile, plan, build),
        spoil_bank_m3=spoil,
        spoil_loose_m3=spoil * soil.swell,
        loose=build.loose,
        swell=soil.swell,
        shrink=soil.shrink,
        warnings=_warnings(deepest, fill, units),
    )


@dataclass(frozen=True, slots=True)
class _Stretch:
    """One step of the subgrade: its line, the mean thickness of base over it, the bedding over that."""

    subgrade: Ground
    base_m: float
    bedding_m: float

    @property
    def length_m(self) -> float:
        """How long it is."""
        return float(self.subgrade.stations_m[-1] - self.subgrade.stations_m[0])


def _stretches(plan: SetOut, build: Construction) -> Iterator[_Stretch]:
    for mark in plan.marks:
        for bed in mark.beds:
            front, back = bed.front, bed.back
            if front.subgrade_m is None or back.subgrade_m is None:
                continue
            assert front.base_top_m is not None
            assert back.base_top_m is not None
            first = mark.riser == 1 and bed is mark.beds[0]
            start = bed.start_m - (build.beside_m if first else 0.0)
            fall = (back.subgrade_m - front.subgrade_m) / (bed.end_m - bed.start_m)
            before = front.subgrade_m - fall * (bed.start_m - start)
            line = Ground(np.array([start, bed.end_m]), np.array([before, back.subgrade_m]))
            base = (front.base_top_m - front.subgrade_m + back.base_top_m - back.subgrade_m) / 2
            yield _Stretch(line, base, bed.bedding_m)


def _trenches(profile: Profile, parts: list[_Stretch], build: Construction) -> float:
    """What the trenches of both cheek walls take out below the subgrade, in cubic metres in the bank."""
    if not build.cheek_m or not build.cheek_buried_m:
        return 0.0
    lowered = replace(
        profile,
        points=tuple(
            replace(p, elevation_m=p.elevation_m - build.cheek_buried_m) for p in profile.points if p.offset_m == 0.0
        ),
    )
    bottom = Across(lowered)
    return 2 * sum(volume_between(bottom, part.subgrade, build.cheek_m / 2).fill_m3 for part in parts)


def _cheeks(profile: Profile, plan: SetOut, build: Construction) -> tuple[float, float]:
    """Side area of the walls left and right: what stands above the ground beside them, and what is buried."""
    if not build.cheek_m or build.width_m is None:
        return 0.0, 0.0
    across, half = Across(profile), build.width_m / 2

    def area(offset_m: float) -> float:
        beside = tuple(ProfilePoint(x, 0.0, across.at(x, offset_m), 0.0) for x in sorted(set(across.breaks())))
        ground, total = Across(replace(profile, points=beside)), 0.0
        for mark in plan.marks:
            front, back, depth = mark.front.finished_m, mark.back.finished_m, mark.depth_m
            if front is None or back is None or depth is None:
                continue
            stations = np.array([mark.face_station_m, mark.face_station_m + depth])
            top = Ground(stations, np.array([front, back]) + build.cheek_above_m)
            # The fill under a surface one metre wide is the area of the wall in square metres.
            total += volume_between(ground, top, 0.5).fill_m3 + build.cheek_buried_m * depth
        return total

    return area(-half), area(half)


def _warnings(deepest_m: float, fill_m3: float, units: Units) -> tuple[str, ...]:
    said = []
    if deepest_m > DEEP_M:
        deep = measures.both(measures.length(deepest_m, units))
        said.append(
            f"the cut is {deep} deep at its deepest: batter or shore it, and ask what local law wants; "
            "a cut bank can fall without warning"
        )
    if fill_m3 > SAME_M:
        said.append("steps stand on fill in places: compact it in thin lifts, or go down to undisturbed ground")
    return tuple(said)
