"""The lines a recorder understands, read into commands; a line it cannot read is refused with the protocol's word."""

import re
from dataclasses import dataclass, replace
from enum import StrEnum

from drivers.errors import LengthError
from drivers.lengths import Units, length_m
from logger.errors import Refused
from logger.observation import LONGEST_M, Kind, Surface
from logger.recorder.lease import OFF, SHARED
from logger.session.observed import Tag

LONGEST_LINE = 4000
LONGEST_NAME = 100
RISER = re.compile(r"[1-9]\d{0,3}")
NUMBER = re.compile(r"\d{1,7}")
OFFSET = re.compile(r"(?P<distance>.*?)\s+(?P<side>left|right)\b\s*(?P<offset>.*)")
PLACES = {Kind.BASE: ("front", "back"), Kind.BUILT: ("front", "back", "left", "right")}
SIDES = ("left", "right")
UNKNOWN = "unknown_command"


class Word(StrEnum):
    """The first words that are not tags."""

    FACE = "face"
    TREAD = "tread"
    SETUP = "setup"
    SURFACE = "surface"
    ROD = "rod"
    STRIKE = "strike"
    NOTE = "note"
    WATCH = "watch"
    CONTROL = "control"
    STATUS = "status"
    LIST = "list"
    CANCEL = "cancel"
    END = "end"


EXAMPLES = {Word.FACE: "172 mm", Word.TREAD: "406 mm"}
KINDS = {str(kind): kind for kind in Kind}
WORDS = {str(word): word for word in Word}
CHOICES = {
    Word.SURFACE: [str(surface) for surface in Surface],
    Word.WATCH: ["on", "off"],
    Word.CONTROL: [OFF, SHARED],
}
LOOKING = (Word.WATCH, Word.CONTROL, Word.STATUS, Word.LIST)
"""Changes nothing: any client may."""
AT_ONCE = (*LOOKING, Word.CANCEL)
"""Answered even while a tag waits."""


@dataclass(frozen=True, slots=True)
class Other:
    """A command that takes no reading, with its arguments read."""

    word: Word
    text: str = ""
    length_m: float = 0.0
    number: int = 0
    on: bool = False


Command = Tag | Other


def read_command(line: str, units: Units) -> Command:
    """Read one line; Refused `unknown_command` or `bad_length` says what is wrong with it."""
    if len(line) > LONGEST_LINE:
        raise Refused(UNKNOWN, f"the line is longer than {LONGEST_LINE} characters")
    word, _, rest = line.strip().partition(" ")
    rest = rest.strip()
    if word == "force":
        return replace(_forced(rest, units), written=line.strip())
    if word in KINDS:
        return replace(_tag(KINDS[word], rest, units), written=line.strip())
    if word in WORDS:
        return _other(WORDS[word], rest, units)
    raise Refused(UNKNOWN, f"{word[:40]!r} is not a command; there are {', '.join([*KINDS, 'force', *WORDS])}")


def _forced(rest: str, units: Units) -> Tag:
    word, _, arguments = rest.partition(" ")
    if word not in KINDS:
        raise Refused(UNKNOWN, "force what? write force station 12 ft, force benchmark BM or another tag")
    return replace(_tag(KINDS[word], arguments.strip(), units), forced=True)


def _tag(kind: Kind, rest: str, units: Units) -> Tag:
    rest, note = _note(rest)
    match kind:
        case Kind.STATION:
            return _station(rest, note, units)
        case Kind.BENCHMARK:
            name, elevation = _name_first(rest)
            return Tag(kind, name, given_m=_length(elevation, units) if elevation else None, note=note)
        case Kind.TURN | Kind.POINT:
            return Tag(kind, _name(rest), note=note)
        case Kind.BASE | Kind.BUILT:
            return _riser(kind, rest, note, units)


def _riser(kind: Kind, rest: str, note: str, units: Units) -> Tag:
    """A place of a step; of a finished one with its distance along the tape, where it was read."""
    riser, place, distance = (*rest.split(maxsplit=2), "", "", "")[:3]
    if kind is Kind.BUILT and riser == "0":
        if place != "back" or distance:
            raise Refused(UNKNOWN, "0 is the walk below the first riser: write built 0 back")
        return Tag(kind, riser=0, place=place, note=note)
    far = " [DISTANCE]" if kind is Kind.BUILT else ""
    if RISER.fullmatch(riser) is None or place not in PLACES[kind] or (distance and not far):
        raise Refused(UNKNOWN, f"write {kind} RISER {'|'.join(PLACES[kind])}{far}, such as {kind} 3 front")
    return Tag(kind, riser=int(riser), place=place, note=note, tape_m=_length(distance, units) if distance else None)


def _station(rest: str, note: str, units: Units) -> Tag:
    offset_m = 0.0
    if (aside := OFFSET.fullmatch(f"{rest} ".strip())) is not None:
        rest = aside["distance"]
        offset_m = _positive(aside["offset"], units, "an offset") * (-1.0 if aside["side"] == "left" else 1.0)
    return Tag(Kind.STATION, tape_m=_length(rest, units), offset_m=offset_m + 0.0, note=note)


def _other(word: Word, rest: str, units: Units) -> Other:
    match word:
        case Word.FACE | Word.TREAD:
            return _taped(word, _note(rest)[0], units)
        case Word.SURFACE | Word.WATCH | Word.CONTROL:
            if rest not in CHOICES[word]:
                raise Refused(UNKNOWN, f"write {word} {'|'.join(CHOICES[word])}")
            return Other(word, on=rest == "on") if word is Word.WATCH else Other(word, rest)
        case Word.ROD:
            return Other(word, length_m=_positive(rest, units, "a rod"))
        case Word.STRIKE:
            number, reason = _note(rest)
            if NUMBER.fullmatch(number) is None:
                raise Refused("unknown_observation", "write strike and the number of the observation")
            return Other(word, reason, number=int(number))
        case Word.NOTE:
            return Other(word, rest)
        case _:
            if rest:
                raise Refused(UNKNOWN, f"{word} stands alone on its line")
            return Other(word)


def _taped(word: Word, rest: str, units: Units) -> Other:
    riser, _, rest = rest.partition(" ")
    length, _, side = rest.strip().rpartition(" ")
    if side not in SIDES:
        length, side = rest.strip(), ""
    if RISER.fullmatch(riser) is None:
        raise Refused(UNKNOWN, f"write {word} RISER LENGTH [left|right], such as {word} 3 {EXAMPLES[word]} left")
    return Other(word, side, _positive(length, units, f"a {word}"), int(riser))


def _note(rest: str) -> tuple[str, str]:
    words, _, note = rest.partition("#")
    return words.strip(), note.strip()


def _name_first(rest: str) -> tuple[str, str]:
    if rest.startswith('"') and (end := rest.find('"', 1)) > 0:
        return _name(rest[1:end]), rest[end + 1 :].strip()
    name, _, after = rest.partition(" ")
    return _name(name), after.strip()


def _name(text: str) -> str:
    name = " ".join(text.removeprefix('"').removesuffix('"').split())
    if not name:
        raise Refused(UNKNOWN, "give the mark a name")
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise Refused(UNKNOWN, f"a name has at most {LONGEST_NAME} printable characters")
    return name


def _length(text: str, units: Units) -> float:
    try:
        value = length_m(text, units)
    except LengthError as error:
        raise Refused("bad_length", str(error)) from None
    if abs(value) > LONGEST_M:
        raise Refused("bad_length", f"{text} is {value:.0f} m: no walk reaches as far; look at the number and its unit")
    return value


def _positive(text: str, units: Units, what: str) -> float:
    value = _length(text, units)
    if value < 0:
        raise Refused("bad_length", f"{what} is not less than nothing")
    return value
