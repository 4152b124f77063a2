"""From a settled height and a tag to the record that is kept: made once by the recorder, again by `verify`."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from logger.observation import Kind, Surface
from logger.session.events import EventKind, finite, iso
from logger.session.fieldbook import TAPED, FieldBook
from logger.session.form import in_form
from logger.settle import Settled

TAPED_U_M = 0.0009
"""A short length by tape: limits of 1 mm reading and 1 mm holding, each over root 3 (common practice)."""

OF_KIND = {
    Kind.STATION: ("offset_m", "surface"),
    Kind.BASE: ("riser", "place"),
    Kind.BUILT: ("riser", "place"),
}
ALWAYS = (
    "height_m",
    "above_zero_m",
    "u_m",
    "spread_m",
    "readings",
    "effective",
    "dropped",
    "steady",
    "forced",
    "rod_m",
)


@dataclass(frozen=True, slots=True)
class Tag:
    """A height to be observed and what it belongs to; lengths in metres, an offset to the right positive.

    `given_m` is the elevation of a benchmark where one was given; `written` the line the user wrote.
    """

    kind: Kind
    name: str = ""
    given_m: float | None = None
    tape_m: float | None = None
    offset_m: float = 0.0
    riser: int | None = None
    place: str = ""
    note: str = ""
    forced: bool = False
    written: str = ""


def observed_body(book: FieldBook, tag: Tag, settled: Settled, since_us: int) -> dict[str, Any]:
    """The record of one observation; Refused if nothing relates it to the zero, ValueError if nobody could read it."""
    related = book.relate(tag.kind, tag.name, settled.height_m - book.rod_m, tag.given_m)
    body = {
        **asdict(tag),
        "kind": str(tag.kind),
        "n": book.next_n,
        "setup": book.setup,
        "stretch": book.stretch,
        "surface": str(_surface(book, tag.kind)),
        "rod_m": book.rod_m,
        "since_us": since_us,
        **_statistics(settled),
        "elevation_m": related.elevation_m,
        "known_m": related.known_m,
        "above_zero_m": finite(related.above_zero_m),
        "misclosure_m": related.misclosure_m,
    }
    in_form(EventKind.OBSERVED, body)
    return body


def _statistics(settled: Settled) -> Mapping[str, Any]:
    """The statistics of a settled height as an event keeps them; ValueError if one is not finite."""
    temperature = settled.temperature_c
    told = {"scale_u": finite(settled.scale_u)} if settled.scale_u else {}
    return told | {
        "height_m": finite(settled.height_m),
        "u_m": finite(settled.u_m),
        "spread_m": finite(settled.spread_m),
        "readings": settled.readings,
        "effective": finite(settled.effective),
        "dropped": settled.dropped,
        "steady": settled.steady,
        "from_us": round(settled.from_s * 1e6),
        "to_us": round(settled.to_s * 1e6),
        "temperature_c": None if temperature is None else finite(temperature),
    }


def taped_body(book: FieldBook, kind: str, riser: int, length_m: float, *, side: str) -> dict[str, Any]:
    """The record of one face or tread measured by tape; it takes a number as observations do."""
    return {
        "kind": kind,
        "n": book.next_n,
        "setup": book.setup,
        "stretch": book.stretch,
        "name": "",
        "riser": riser,
        "length_m": finite(length_m),
        "u_m": TAPED_U_M,
        "side": side,
    }


def tag_of(body: Mapping[str, Any]) -> Tag:
    """The tag a record was made for."""
    values: dict[str, Any] = {f.name: body[f.name] for f in fields(Tag)}
    return Tag(**values | {"kind": Kind(body["kind"])})


def answer_of(body: Mapping[str, Any], at_us: int) -> dict[str, Any]:
    """What a client is told of an observation or a taped length once it is durable."""
    told: dict[str, Any] = {
        "ok": True,
        "event": "observed",
        "n": body["n"],
        "kind": body["kind"],
        "setup": body["setup"],
    }
    if body["kind"] in TAPED:
        return told | {key: body[key] for key in ("riser", "length_m", "u_m", "side")} | {"at": iso(at_us)}
    kind = Kind(body["kind"])
    if kind is Kind.STATION:
        told["station_m"] = body["tape_m"]
    elif body["tape_m"] is not None:
        told["tape_m"] = body["tape_m"]
    told |= {key: body[key] for key in (*OF_KIND.get(kind, ("name",)), *ALWAYS)}
    for key in ("elevation_m", "misclosure_m", "temperature_c", "scale_u", "note"):
        if body.get(key) not in (None, ""):
            told[key] = body[key]
    return told | {"at": iso(at_us)}


def _surface(book: FieldBook, kind: Kind) -> Surface:
    match kind:
        case Kind.STATION:
            return book.surface
        case Kind.BASE:
            return Surface.BASE
        case Kind.BUILT:
            return Surface.BUILT
        case _:
            return Surface.GROUND
