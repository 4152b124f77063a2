"""A session read again: the survey for the adjustment, and the field book for those who go on or show it."""

from pathlib import Path

from drivers.instrument import InstrumentFile, parse
from drivers.lengths import Units
from logger.errors import CorruptSession, FileError
from logger.observation import Instrument, Kind, Observation, Surface, Survey, Taped
from logger.session.events import Event, EventKind, seconds
from logger.session.fieldbook import FACE, TAPED, TREAD, Entry, FieldBook
from logger.session.form import CHECKED, in_form
from logger.session.store import SENSELESS, Session
from logger.session.unadjusted import instrument_of
from logger.shown import shown


def survey(path: Path | str, *, until_us: int | None = None) -> Survey:
    """The observations of a session in the order observed; nothing is decoded again.

    With `until_us` as it stood at that session time, in microseconds.

    `Observation.setup` counts stretches of one offset: a new one begins with each setup and after each link gap.
    Raises FileError and its kinds.
    """
    with Session.open(path) as session:
        return survey_of(field_book(session, until_us), session.digest.hex(), Path(path))


def field_book(session: Session, until_us: int | None = None) -> FieldBook:
    """The field book of a session as it stands, or stood; CorruptSession where an event makes no sense."""
    book = FieldBook()
    for event in session.events(raw=False):
        if until_us is not None and event.t_us > until_us:
            break
        apply(book, event, session.path)
    return book


def units_of(path: Path | str) -> Units:
    """What a bare number meant in the walk, and how its lengths are shown."""
    with Session.open(path) as session:
        opened = [event for event in session.events(raw=False) if event.kind == EventKind.OPENED]
        if not opened:
            return Units.METRES
        with session.making_sense(opened[-1]):
            return Units(opened[-1].body["units"])


def apply(book: FieldBook, event: Event, path: Path) -> None:
    """Take one event in; CorruptSession names it where it makes no sense."""
    try:
        if event.kind in CHECKED:
            in_form(event.kind, event.body)
        book.apply(event)
    except SENSELESS as error:
        raise CorruptSession(path, f"event {event.n} ({event.kind}) makes no sense ({error})", event.n) from error


def survey_of(book: FieldBook, digest: str, path: Path) -> Survey:
    """The survey a field book holds."""
    try:
        faces, treads = (tuple(_taped(e) for e in book.entries if e.body["kind"] == kind) for kind in (FACE, TREAD))
        seen = tuple(_observation(e) for e in book.entries if e.body["kind"] not in TAPED)
    except SENSELESS as error:
        raise CorruptSession(path, f"an observation makes no sense ({error})") from error
    return Survey(seen, book.tape, faces, treads, _instrument(book, path), digest, shown(book.job))


def recorded_instrument(book: FieldBook, path: Path) -> InstrumentFile:
    """The instrument file recorded with the latest data; FileError where none was recorded."""
    if not book.instrument:
        raise FileError(path, "no instrument was recorded in it")
    return parse(book.instrument, f"{path}, the instrument recorded")


def _instrument(book: FieldBook, path: Path) -> Instrument:
    return instrument_of(recorded_instrument(book, path), book) if book.instrument else Instrument()


def _observation(entry: Entry) -> Observation:
    body = entry.body
    return Observation(
        n=entry.n,
        kind=Kind(body["kind"]),
        setup=body["stretch"],
        t_s=seconds(body["to_us"]),
        height_m=body["height_m"],
        u_m=body["u_m"],
        name=shown(body["name"]),
        tape_m=body["tape_m"],
        offset_m=body["offset_m"],
        surface=Surface(body["surface"]),
        riser=body["riser"],
        place=body["place"],
        rod_m=body["rod_m"],
        elevation_m=body["elevation_m"],
        temperature_c=body["temperature_c"],
        forced=body["forced"],
        struck=entry.struck,
        readings=body["readings"],
    )


def _taped(entry: Entry) -> Taped:
    body = entry.body
    return Taped(entry.n, body["riser"], body["length_m"], body["u_m"], body["side"], entry.struck)
