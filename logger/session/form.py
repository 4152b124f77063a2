"""Whether what an event says is of the form this program writes: numbers that are numbers, of a size there is."""

from collections.abc import Mapping
from typing import Any

from logger.session.events import EventKind
from logger.session.fieldbook import TAPED

CHECKED = (EventKind.ROD, EventKind.OBSERVED)
MOST = 1e7
"""No length of a walk, in metres, is beyond the earth's radius; no other number of an observation comes near it."""
MOST_WHOLE = 2**62
NUMBERS = ("height_m", "u_m", "spread_m", "effective", "rod_m", "offset_m", "above_zero_m")
PERHAPS = ("elevation_m", "known_m", "given_m", "tape_m", "misclosure_m", "temperature_c")
WHOLE = ("n", "setup", "stretch", "readings", "dropped", "from_us", "to_us")
TEXTS = ("name", "place", "note", "written")
FLAGS = ("steady", "forced")


def in_form(kind: str, body: Mapping[str, Any]) -> None:
    """ValueError or KeyError where the body of an event cannot be what this program wrote."""
    if kind == EventKind.ROD:
        _number("rod_m", body["rod_m"])
    if kind == EventKind.OBSERVED and body["kind"] in TAPED:
        _all(body, ("length_m", "u_m"), ("n", "setup", "stretch", "riser"), ("name", "side"))
    elif kind == EventKind.OBSERVED:
        _all(body, NUMBERS, WHOLE, TEXTS)
        for name in PERHAPS:
            if body[name] is not None:
                _number(name, body[name])
        _number("scale_u", body.get("scale_u", 0.0))
        if body["riser"] is not None:
            _whole("riser", body["riser"])
        for name in FLAGS:
            if type(body[name]) is not bool:
                raise ValueError(f"{name} is neither true nor false")


def _all(body: Mapping[str, Any], numbers: tuple[str, ...], whole: tuple[str, ...], texts: tuple[str, ...]) -> None:
    for name in numbers:
        _number(name, body[name])
    for name in whole:
        _whole(name, body[name])
    for name in texts:
        if not isinstance(body[name], str):
            raise ValueError(f"{name} is not text")
    if body["u_m"] < 0:
        raise ValueError("u_m is negative")


def _number(name: str, value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= MOST:
        raise ValueError(f"{name} is not a number that can be")


def _whole(name: str, value: object) -> None:
    if type(value) is not int or abs(value) > MOST_WHOLE:
        raise ValueError(f"{name} is not a whole number")
