"""Levelling notes kept on paper as a session: entered, not recorded, so there are no raw bytes behind them."""

import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from logger.errors import WrongFile
from logger.observation import Observation, Tape
from logger.reduction.levels import read_levels
from logger.session.events import Draft, EventKind, finite, program_version
from logger.session.fieldbook import FieldBook
from logger.session.store import Session

LARGEST = 4 * 1024 * 1024


def import_levels(source: Path | str, path: Path | str) -> int:
    """Make a session of a CSV of levelling notes; the number of events. WrongFile lists every mistake in the notes."""
    source, path = Path(source), Path(path)
    try:
        if source.stat().st_size > LARGEST:
            raise WrongFile(source, ["too large for levelling notes"])
        text = source.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise WrongFile(source, [f"it cannot be read ({error.strerror})"]) from error
    except UnicodeDecodeError as error:
        raise WrongFile(source, ["it is not UTF-8 text"]) from error
    notes = read_levels(text, source)
    drafts = list(_drafts(text, source.name, notes.observations))
    with Session.create(path) as session:
        session.append(drafts)
    return len(drafts)


def _drafts(text: str, name: str, observations: tuple[Observation, ...]) -> Iterator[Draft]:
    at_us, book = time.time_ns() // 1000, FieldBook()

    def draft(kind: EventKind, body: dict[str, Any]) -> Draft:
        made = Draft(at_us, 0, kind, body)
        book.apply(made)
        return made

    notes = {"name": name, "text": text, "sha256": sha256(text.encode()).hexdigest()}
    nothing = {"name": "", "text": "", "sha256": ""}
    opened = {"program": program_version(), "job": "", "units": "m", "tape": str(Tape.LEVEL), "port": ""}
    yield draft(EventKind.OPENED, {**opened, "instrument": nothing, "notes": notes, "resumed": False, "gap": False})
    for seen in observations:
        while book.setup < seen.setup:
            yield draft(EventKind.SETUP, {"setup": book.setup + 1})
        yield draft(EventKind.OBSERVED, _entered(book, seen))
    yield draft(EventKind.CLOSED, {})


def _entered(book: FieldBook, seen: Observation) -> dict[str, Any]:
    related = book.relate(seen.kind, seen.name, seen.height_m - seen.rod_m, seen.elevation_m)
    return {
        "entered": True,
        "kind": str(seen.kind),
        "n": book.next_n,
        "setup": book.setup,
        "stretch": book.stretch,
        "name": seen.name,
        "given_m": seen.elevation_m,
        "tape_m": seen.tape_m,
        "offset_m": seen.offset_m,
        "surface": str(seen.surface),
        "riser": seen.riser,
        "place": seen.place,
        "rod_m": seen.rod_m,
        "height_m": finite(seen.height_m),
        "u_m": finite(seen.u_m),
        "spread_m": 0.0,
        "readings": seen.readings,
        "effective": float(seen.readings),
        "dropped": 0,
        "steady": True,
        "forced": False,
        "from_us": 0,
        "to_us": 0,
        "temperature_c": None,
        "elevation_m": related.elevation_m,
        "known_m": related.known_m,
        "above_zero_m": finite(related.above_zero_m),
        "misclosure_m": related.misclosure_m,
        "note": "",
        "written": "",
    }
