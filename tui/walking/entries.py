"""What a person types, turned into lines of the record protocol; bare numbers are in the units shown."""

import re

from drivers.errors import LengthError
from drivers.lengths import Units, length_m
from tui.walking.suggestion import Suggestion

BARE = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)|\d+\+\d\d(\.\d*)?")
ASIDE = re.compile(r"(?P<distance>.*?)\s*\b(?P<side>left|right|l|r)\b\s*(?P<offset>.*)", re.IGNORECASE)
LONGEST_NAME = 100
SIDES = {"l": "left", "r": "right"}


def with_unit(text: str, units: Units) -> str:
    """A length as typed, with the unit shown behind it where none was typed."""
    text = text.strip()
    return f"{text} {units.bare_unit}" if BARE.fullmatch(text) else text


def asks_length(words: str, units: Units) -> str:
    """A question for a length, with what a bare number would be in."""
    return f"{words} ({units.bare_unit} unless a unit is written)"


def station(text: str, units: Units) -> Suggestion:
    """The tag of a typed station: `12.5`, `12 ft 6 in`, `12 left 2`, `12 # edge of the bench`."""
    where, mark, note = text.partition("#")
    if (aside := ASIDE.fullmatch(where.strip())) is not None:
        side = aside["side"].lower()
        along = with_unit(aside["distance"], units)
        words = f"station {along} {SIDES.get(side, side)} {with_unit(aside['offset'], units)}"
        return Suggestion(f"{words} {mark}{note}".strip(), words)
    along = with_unit(where, units)
    return Suggestion(f"station {along} {mark}{note}".strip(), f"station {along}", station_m=length_m(along, units))


def wrong_station(text: str, units: Units) -> str:
    """What is wrong with a typed station, or nothing."""
    where = text.partition("#")[0]
    aside = ASIDE.fullmatch(where.strip())
    parts = [aside["distance"], aside["offset"]] if aside else [where]
    return next((wrong for part in parts if (wrong := wrong_length(part, units))), "")


def wrong_length(text: str, units: Units) -> str:
    """What is wrong with a typed length, or nothing."""
    try:
        length_m(with_unit(text, units), units)
    except LengthError as error:
        return str(error)
    return ""


def point(name: str) -> Suggestion:
    """The tag of a named point."""
    return Suggestion(f"point {name}", f"point {name}")


def wrong_name(text: str) -> str:
    """What is wrong with a name, or nothing."""
    if len(text) > LONGEST_NAME or not text.isprintable() or "#" in text:
        return f"a name has at most {LONGEST_NAME} printable characters and no #"
    return ""
