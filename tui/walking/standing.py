"""Where the walk stands, read from what the recorder tells: live reading, status, rows of the field book."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drivers.lengths import Units

STALE_S = 2.0
"""A reading older than this is not what the instrument shows now."""


@dataclass(frozen=True, slots=True)
class Live:
    """What the instrument shows; heights in metres, `age_s` when it was told."""

    height_m: float
    above_zero_m: float | None
    u_m: float
    above_zero_u_m: float | None
    spread_m: float
    steady: bool
    age_s: float
    link: str
    temperature_c: float | None = None

    @property
    def stale(self) -> bool:
        """Whether this is too old to be what the instrument shows now."""
        return self.age_s > STALE_S or self.link != "live"


def live_of(told: Mapping[str, Any]) -> Live:
    """The reading in a `reading` event."""
    above = told.get("above_zero_m")
    temperature = told.get("temperature_c")
    return Live(
        height_m=float(told["height_m"]),
        above_zero_m=None if above is None else float(above),
        u_m=float(told.get("u_m") or 0.0),
        above_zero_u_m=_number(told.get("above_zero_u_m")),
        spread_m=float(told.get("spread_m") or 0.0),
        steady=bool(told.get("steady")),
        age_s=float(told.get("age_s") or 0.0),
        link=str(told.get("link", "live")),
        temperature_c=None if temperature is None else float(temperature),
    )


@dataclass(frozen=True, slots=True)
class Zero:
    """The mark heights are counted from, and how long ago it was observed."""

    name: str
    elevation_m: float
    age_s: float


@dataclass(frozen=True, slots=True)
class Standing:
    """The status of a recorder, as people are shown it; ages in seconds when it was told."""

    session: str
    job: str
    port: str
    instrument: str
    units: Units
    tape: str
    setup: int
    surface: str
    rod_m: float
    zero: Zero | None
    link: str
    why: str
    battery: float | None
    last_save_s: float
    last_save: str
    saved: bool
    message: str
    waiting: str
    observations: int
    struck: int
    rejects: int
    digest: str
    moved: str = ""
    """Where recording goes on since its file was moved or removed, as a sentence."""
    remarks: tuple[str, ...] = ()
    socket: str = ""
    steady_spread_m: float | None = None
    reach_height_m: float | None = None
    reach_distance_m: float | None = None

    @property
    def needs_zero(self) -> bool:
        """Whether no height counts before a mark of known height is observed."""
        return self.zero is None


def standing_of(told: Mapping[str, Any]) -> Standing:
    """The status in the answer to `status`."""
    counts = told.get("counts") or {}
    reach = told.get("reach") or {}
    return Standing(
        session=str(told.get("session", "")),
        job=str(told.get("job") or ""),
        port=str(told.get("port", "")),
        instrument=str(told.get("instrument", "")),
        units=Units(told.get("units", "m")),
        tape=str(told.get("tape", "level")),
        setup=int(told.get("setup", 1)),
        surface=str(told.get("surface", "ground")),
        rod_m=float(told.get("rod_m") or 0.0),
        zero=_zero(told.get("zero")),
        link=str(told.get("link", "")),
        why=str(told.get("why") or ""),
        battery=_number(told.get("battery")),
        last_save_s=float(told.get("last_save_age_s") or 0.0),
        last_save=str(told.get("last_save") or ""),
        saved=bool(told.get("saved", True)),
        message=str(told.get("message") or ""),
        waiting=str(told.get("waiting") or ""),
        observations=int(counts.get("observations", 0)),
        struck=int(counts.get("struck", 0)),
        rejects=sum(int(n) for n in (counts.get("rejects") or {}).values()),
        digest=str(told.get("digest", "")),
        moved=str(told.get("moved") or ""),
        remarks=tuple(str(remark) for remark in told.get("remarks") or ()),
        socket=str(told.get("socket") or ""),
        steady_spread_m=_number(told.get("steady_spread_m")),
        reach_height_m=_number(reach.get("height_m")),
        reach_distance_m=_number(reach.get("distance_m")),
    )


def _zero(told: Mapping[str, Any] | None) -> Zero | None:
    if told is None:
        return None
    return Zero(str(told["name"]), float(told.get("elevation_m") or 0.0), float(told.get("age_s") or 0.0))


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the field book: an observation or a taped length; `name` is what it is called on the list."""

    n: int
    kind: str
    setup: int
    name: str = ""
    station_m: float | None = None
    offset_m: float = 0.0
    surface: str = "ground"
    riser: int | None = None
    place: str = ""
    height_m: float = 0.0
    above_zero_m: float = 0.0
    above_zero_u_m: float | None = None
    elevation_m: float | None = None
    misclosure_m: float | None = None
    temperature_c: float | None = None
    forced: bool = False
    steady: bool = True
    note: str = ""
    at: str = ""
    struck: bool = False
    reason: str = ""

    @property
    def taped(self) -> bool:
        """Whether it is a face or a tread measured by tape, with no height of its own."""
        return self.kind in ("face", "tread")


def row_of(told: Mapping[str, Any]) -> Row:
    """The row in an `observed` answer or in the answer to `list`."""
    return Row(
        n=int(told["n"]),
        kind=str(told["kind"]),
        setup=int(told.get("setup", 1)),
        name=str(told.get("name") or ""),
        station_m=_number(told.get("station_m")),
        offset_m=float(told.get("offset_m") or 0.0),
        surface=str(told.get("surface", "ground")),
        riser=None if told.get("riser") is None else int(told["riser"]),
        place=str(told.get("place") or told.get("side") or ""),
        height_m=float(told.get("height_m") or told.get("length_m") or 0.0),
        above_zero_m=float(told.get("above_zero_m") or 0.0),
        above_zero_u_m=_number(told.get("above_zero_u_m")),
        elevation_m=_number(told.get("elevation_m")),
        misclosure_m=_number(told.get("misclosure_m")),
        temperature_c=_number(told.get("temperature_c")),
        forced=bool(told.get("forced")),
        steady=bool(told.get("steady", True)),
        note=str(told.get("note") or ""),
        at=str(told.get("at") or ""),
        struck=bool(told.get("struck")),
        reason=str(told.get("reason") or ""),
    )
