"""What a height above the zero is worth as it stands, before the walk is adjusted: told live and in the field book."""

from itertools import starmap
from typing import Any

from drivers.instrument import InstrumentFile
from logger.observation import Instrument
from logger.reduction.sightings import Sighting, sum_u
from logger.session.events import seconds
from logger.session.fieldbook import TAPED, Entry, FieldBook
from logger.session.observed import answer_of
from logger.settle import Live


def instrument_of(file: InstrumentFile, book: FieldBook) -> Instrument:
    """What the adjustment must know of an instrument: as its file says, or as it told of itself where that is worse."""
    u_m, stated = file.accuracy
    told = max((e.body.get("scale_u", 0.0) for e in book.entries), default=0.0)
    return Instrument(file.resolution_m, u_m, max(stated, told), file.drift_m_per_h, file.by_air)


def live_told(book: FieldBook, instrument: Instrument, live: Live) -> dict[str, Any]:
    """What those who watch are told of what the instrument shows; nothing above the zero without a zero."""
    above_m = above_u_m = None
    if (zero := book.zero()) is not None:
        shown_m = live.height_m - book.rod_m
        above_m = shown_m - zero.shown_at_zero_m
        above_u_m = _live_u(
            book, instrument, Sighting(1, shown_m, live.u_m, live.t_s, book.stretch, live.temperature_c)
        )
    return {
        "event": "reading",
        "height_m": live.height_m,
        "above_zero_m": above_m,
        "above_zero_u_m": above_u_m,
        "u_m": live.u_m,
        "spread_m": live.spread_m,
        "steady": live.steady,
    }


def _live_u(book: FieldBook, instrument: Instrument, here: Sighting) -> float | None:
    zero = book.zero_entry(book.stretch)
    way = None if zero is None else book.way(zero, counted=False)
    if zero is None or way is None:
        return None
    return sum_u([here, _sighting(-1, zero), *starmap(_sighting, way)], instrument)


def entry_u(book: FieldBook, instrument: Instrument, entry: Entry) -> float | None:
    """Standard uncertainty of `above_zero_m` of an observation; None where what it was counted from was struck out."""
    way = book.way(entry)
    if way is None or book.above_zero_m(entry) != entry.body["above_zero_m"]:
        return None
    return sum_u(list(starmap(_sighting, way)), instrument)


def entry_told(book: FieldBook, instrument: Instrument, entry: Entry) -> dict[str, Any]:
    """What a client is told of a line of the book, with the uncertainty of its height above the zero."""
    told = answer_of(entry.body, entry.at_us)
    if entry.body["kind"] not in TAPED and (u_m := entry_u(book, instrument, entry)) is not None:
        told["above_zero_u_m"] = u_m
    return told


def _sighting(sign: int, entry: Entry) -> Sighting:
    body = entry.body
    at_s, temperature_c = seconds(body["to_us"]), body["temperature_c"]
    return Sighting(sign, body["height_m"] - body["rod_m"], body["u_m"], at_s, body["stretch"], temperature_c)
