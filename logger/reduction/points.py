"""Which observations belong to one point: stations by surface, tape and offset; marks by name; risers by place."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from logger.observation import Kind, Observation, Surface

SAME_DIGITS = 6
"""Tape distances equal within a micrometre are one station, so that 12 ft and 3.6576 m meet."""
BY_NAME = {Kind.BENCHMARK, Kind.TURN, Kind.POINT}


@dataclass(frozen=True, slots=True)
class PointKey:
    """What makes a point the same point; distances in metres, as read on the tape."""

    kind: Kind
    name: str = ""
    surface: Surface = Surface.GROUND
    tape_m: float = 0.0
    offset_m: float = 0.0
    riser: int = 0
    place: str = ""

    @property
    def label(self) -> str:
        """The point in words."""
        match self.kind:
            case Kind.STATION:
                side = f", {abs(self.offset_m):g} m {'left' if self.offset_m < 0 else 'right'}" if self.offset_m else ""
                on = "" if self.surface is Surface.GROUND else f" ({self.surface})"
                return f"station {self.tape_m:g} m{side}{on}"
            case Kind.BASE | Kind.BUILT:
                return f"{self.kind} of riser {self.riser}, {self.place}"
            case _:
                return self.name


@dataclass(slots=True)
class Point:
    """One point with the observations of it, as indices into the observations in use; known elevation if any."""

    key: PointKey
    seen: list[int] = field(default_factory=list)
    known_m: float | None = None
    known_u_m: float = 0.0

    @property
    def fixed(self) -> bool:
        """Whether its elevation is given as exact."""
        return self.known_m is not None and self.known_u_m == 0.0


@dataclass(frozen=True, slots=True)
class Height:
    """An adjusted point: elevation and standard uncertainty in metres, how often it was observed."""

    key: PointKey
    elevation_m: float
    u_m: float
    observations: int


def key_of(seen: Observation) -> PointKey:
    """The point an observation belongs to; marks are one by name whether observed as zero, turning point or point."""
    if seen.kind in BY_NAME:
        return PointKey(Kind.POINT, name=seen.name)
    if seen.kind is Kind.STATION:
        tape, offset = round(seen.tape_m or 0.0, SAME_DIGITS) + 0.0, round(seen.offset_m, SAME_DIGITS) + 0.0
        return PointKey(Kind.STATION, surface=seen.surface, tape_m=tape, offset_m=offset)
    return PointKey(seen.kind, surface=Surface(str(seen.kind)), riser=seen.riser or 0, place=seen.place)


def gather(seen: Iterable[Observation]) -> list[Point]:
    """The points observed, in the order first observed; the first elevation given for a mark holds."""
    points: dict[PointKey, Point] = {}
    for i, one in enumerate(seen):
        key = key_of(one)
        point = points.setdefault(key, Point(key))
        point.seen.append(i)
        if one.elevation_m is not None and point.known_m is None:
            point.known_m, point.known_u_m = one.elevation_m, one.elevation_u_m
    return list(points.values())
