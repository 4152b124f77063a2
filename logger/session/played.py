"""A recorded session told again, in the words of the recorder's answers and events."""

from collections.abc import Iterator
from typing import Any

from drivers.instrument import parse
from logger.observation import Instrument
from logger.session.derive import Pipeline, breaks
from logger.session.events import Event, EventKind, iso
from logger.session.fieldbook import Entry, FieldBook
from logger.session.replay import apply
from logger.session.store import Session
from logger.session.unadjusted import entry_told, instrument_of, live_told

READING_US = 100_000
SHOWN = {
    EventKind.OPENED: ("job", "units", "tape", "port", "program", "resumed"),
    EventKind.LINK: ("state", "why"),
    EventKind.CLOCK: ("asleep_us", "set_us"),
    EventKind.SETUP: ("setup",),
    EventKind.SURFACE: ("surface",),
    EventKind.ROD: ("rod_m",),
    EventKind.STRUCK: ("n", "reason"),
    EventKind.NOTED: ("text",),
    EventKind.CLOSED: (),
}


def played(session: Session) -> Iterator[tuple[int, dict[str, Any]]]:
    """What happened, each with its session time in microseconds; readings at most ten a second of recorded time."""
    player = _Player(session)
    for event in session.events():
        with session.making_sense(event):
            yield from player.take(event)
        apply(player.book, event, session.path)


class _Player:
    def __init__(self, session: Session) -> None:
        self.book = FieldBook()
        self._path = session.path
        self._pipeline: Pipeline | None = None
        self._next_us = 0

    def take(self, event: Event) -> Iterator[tuple[int, dict[str, Any]]]:
        if event.kind == EventKind.RAW:
            yield from self._readings(event)
            return
        body = event.body
        if event.kind == EventKind.OPENED and body["instrument"]["text"]:
            self._pipeline = Pipeline(parse(body["instrument"]["text"], f"{self._path}, the instrument recorded"))
        elif breaks(body) and self._pipeline is not None:
            self._pipeline.gap()
        if event.kind == EventKind.OBSERVED:
            yield event.t_us, entry_told(self.book, self._errors(), Entry(body, event.at_us, event.t_us))
        else:
            shown = body if event.kind not in SHOWN else {key: body[key] for key in SHOWN[EventKind(event.kind)]}
            stalled = {key: body[key] for key in ("stalled_us",) if key in body}
            yield event.t_us, {"event": event.kind, **shown, **stalled, "at": event.at}

    def _readings(self, event: Event) -> Iterator[tuple[int, dict[str, Any]]]:
        if self._pipeline is None:
            return
        ahead_us = event.at_us - event.t_us
        for chunk in event.chunks():
            if self._pipeline.feed(chunk) and chunk.t_us >= self._next_us:
                self._next_us = chunk.t_us + READING_US
                yield chunk.t_us, self._reading(self._pipeline) | {"at": iso(chunk.t_us + ahead_us)}

    def _errors(self) -> Instrument:
        return Instrument() if self._pipeline is None else instrument_of(self._pipeline.instrument, self.book)

    def _reading(self, pipeline: Pipeline) -> dict[str, Any]:
        live = pipeline.live()
        assert live is not None
        return live_told(self.book, self._errors(), live)
