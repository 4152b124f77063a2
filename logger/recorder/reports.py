"""What a recorder tells of itself: its status, the list of observations, the live reading for those who watch."""

import asyncio
import os
from collections import Counter
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from logger.observation import Instrument
from logger.session.events import iso
from logger.session.fieldbook import Entry
from logger.session.unadjusted import entry_told, instrument_of, live_told

if TYPE_CHECKING:
    from logger.recorder.recorder import Recorder

WATCH_S = 0.1
IDLE_S = 1.0


class Reports:
    """The recorder seen from outside."""

    def __init__(self, recorder: "Recorder") -> None:
        self.recorder = recorder
        self.watchers: set[Callable[[dict[str, Any]], None]] = set()

    def tell(self, event: dict[str, Any]) -> None:
        """Send an event to all who watch."""
        for watcher in tuple(self.watchers):
            watcher(event)

    def status(self) -> dict[str, Any]:
        """Session, setup, zero and its age, link, battery, counts, last save."""
        recorder = self.recorder
        book, writer = recorder.book, recorder.writer
        zero, now_us = book.zero(), recorder.clock.now_us()
        waiting = recorder.tagging.waiting
        told: dict[str, Any] = {
            "ok": True,
            "event": "status",
            "session": str(recorder.path.absolute()),
            "job": book.job,
            "process": os.getpid(),
            "socket": recorder.socket,
            **self._instrument(),
            "units": str(recorder.settings.units),
            "tape": str(book.tape),
            "setup": book.setup,
            "surface": str(book.surface),
            "rod_m": book.rod_m,
            "needs_zero": zero is None,
            "zero": None,
            **self._line(now_us),
            "counts": self._counts(),
            "last_tag": None,
            "last_save": iso(writer.saved_at_us) if writer.saved_at_us else None,
            "last_save_age_s": self._age_s(writer.saved_at_us) if writer.saved_at_us else None,
            "saved": not writer.backlog.refusal,
            "moved": recorder.moved or None,
            "message": self._message(),
            "digest": writer.session.digest.hex(),
            "waiting": None if waiting is None else waiting.written,
        }
        if zero is not None:
            age_s = (now_us - zero.t_us) / 1e6
            told["zero"] = {"name": zero.name, "elevation_m": zero.elevation_m, "at": iso(zero.at_us), "age_s": age_s}
        if (tag := book.last_tag) is not None:
            told["last_tag"] = self.entry(tag) | {"age_s": (now_us - tag.t_us) / 1e6}
        return told

    def _message(self) -> str:
        """What the user should know or do: why nothing is saved, where it is saved now, that the zero is needed."""
        recorder = self.recorder
        needed = recorder.book.why_needs_zero() if recorder.book.zero() is None else ""
        return "; ".join(filter(None, (recorder.writer.backlog.refusal, recorder.moved, needed)))

    def _age_s(self, at_us: int) -> float:
        return max(0.0, (self.recorder.clock.at_us() - at_us) / 1e6)

    def _instrument(self) -> dict[str, Any]:
        """What is asked and what it can do: the spread it calls steady, and how far it reaches, None where not told."""
        settings = self.recorder.settings
        instrument = settings.instrument
        decoder = self.recorder.acquisition.pipeline.decoder
        return {
            "port": settings.port,
            "instrument": instrument.instrument.name,
            "device": dict(getattr(decoder, "facts", {})),
            "remarks": list(decoder.remarks),
            "steady_spread_m": instrument.settle_rule.spread_m,
            "reach": {"height_m": instrument.reach_height_m, "distance_m": instrument.reach_distance_m},
        }

    def _line(self, now_us: int) -> dict[str, Any]:
        state = self.recorder.acquisition.state
        age_s = None if state.last_us is None else (now_us - state.last_us) / 1e6
        return {"link": str(state.link), "why": state.why, "battery": state.battery, "age_s": age_s}

    def _counts(self) -> dict[str, Any]:
        book, acquisition = self.recorder.book, self.recorder.acquisition
        kinds = Counter(str(e.body["kind"]) for e in book.entries)
        return {
            "observations": len(book.entries),
            "stations": kinds["station"],
            "struck": sum(e.struck for e in book.entries),
            "notes": len(book.notes),
            "readings": acquisition.pipeline.readings,
            "rejects": {str(reason): count for reason, count in acquisition.pipeline.rejects.items()},
            "links_lost": acquisition.state.lost,
            "events": self.recorder.writer.session.events_saved,
        }

    def listing(self) -> dict[str, Any]:
        """Every observation and taped length in the book, struck ones marked."""
        book, errors = self.recorder.book, self._errors()
        rows = [entry_told(book, errors, e) | {"struck": e.struck, "reason": e.reason} for e in book.entries]
        return {"ok": True, "event": "list", "observations": rows}

    def entry(self, entry: Entry) -> dict[str, Any]:
        """An observation or taped length, once it is durable."""
        return entry_told(self.recorder.book, self._errors(), entry)

    def _errors(self) -> Instrument:
        return instrument_of(self.recorder.settings.instrument, self.recorder.book)

    def reading(self) -> dict[str, Any] | None:
        """What the instrument shows, None before its first reading."""
        recorder = self.recorder
        live, state = recorder.acquisition.pipeline.live(), recorder.acquisition.state
        if live is None or state.last_us is None:
            return None
        return live_told(recorder.book, self._errors(), live) | {
            "age_s": max(0.0, (recorder.clock.now_us() - state.last_us) / 1e6),
            "link": str(state.link),
            "temperature_c": live.temperature_c,
        }

    async def watch(self) -> None:
        """Send what the instrument shows to those who watch: at most ten a second, at least one."""
        told_us, waited_s = None, 0.0
        while True:
            await asyncio.sleep(WATCH_S)
            waited_s += WATCH_S
            last_us = self.recorder.acquisition.state.last_us
            if not self.watchers or (last_us == told_us and waited_s < IDLE_S):
                continue
            try:
                event = self.reading()
            except Exception as error:
                self.recorder.acquisition.upset(error)
                continue
            if event is not None:
                self.tell(event)
                told_us, waited_s = last_us, 0.0
