"""A session as JSON Lines: one event a line, made for `diff`, and a session made from them again, digest for digest."""

import json
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

from logger.errors import CannotWrite, WrongFile
from logger.session.events import EPOCH, GENESIS, MICROSECOND, Draft, Event, EventKind, raw_draft, sealed
from logger.session.form import MOST_WHOLE
from logger.session.packing import RawChunk
from logger.session.store import Session
from logger.shown import shown_json

SCHEMA = "risewalk.session/1"
BATCH = 500
LONGEST_LINE = 8 * 1024 * 1024
MOST_MISTAKES = 20
WHEN = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")


def export_jsonl(path: Path | str, out: TextIO) -> int:
    """Write a session as JSON Lines; the number of events. A byte stands as the character of its number."""
    with Session.open(path) as session:
        out.write(_line({"schema": SCHEMA}))
        count = 0
        for event in session.events():
            with session.making_sense(event):
                line = _line(line_of(event))
            out.write(line)
            count += 1
    return count


def line_of(event: Event) -> dict[str, Any]:
    """One event as its line holds it."""
    at = (EPOCH + event.at_us * MICROSECOND).isoformat(timespec="microseconds").replace("+00:00", "Z")
    told: dict[str, Any] = {"n": event.n, "at": at, "t_us": event.t_us, "kind": event.kind, "body": event.body}
    if event.kind == EventKind.RAW:
        told["raw"] = [[c.t_us, c.channel, c.data.decode("latin-1")] for c in event.chunks()]
    elif event.raw:
        told["raw"] = event.raw.decode("latin-1")
    return told | {"digest": event.digest.hex()}


def import_jsonl(source: Path | str, path: Path | str) -> int:
    """Make a session from JSON Lines; the number of events.

    WrongFile names the line that is wrong, or whose digest does not follow; nothing is left of `path` then.
    """
    source, path = Path(source), Path(path)
    drafts = _checked(source)
    first = next(drafts, None)
    if first is None:
        raise WrongFile(source, ["line 1: there are no events in it"])
    session = Session.create(path)
    try:
        batch, count = [first], 0
        for draft in drafts:
            batch.append(draft)
            if len(batch) >= BATCH:
                count += len(session.append(batch))
                batch = []
        count += len(session.append(batch))
    except BaseException:
        session.close()
        path.unlink(missing_ok=True)
        raise
    session.close()
    return count


def _checked(source: Path) -> Iterator[Draft]:
    before, n = GENESIS, 0
    for number, told in _lines(source):
        try:
            draft = draft_of(told)
            n += 1
            event = sealed(draft, n, before)
            (event.kind + event.text).encode()  # half a surrogate pair is JSON, and no text
        except (ValueError, KeyError, TypeError, OverflowError) as error:
            raise WrongFile(source, [f"line {number}: {_why(error)}"]) from error
        if told.get("n") != n or told.get("digest") != event.digest.hex():
            raise WrongFile(source, [f"line {number}: event {n} was changed, or does not follow the one before it"])
        before = event.digest
        yield draft


def draft_of(told: dict[str, Any]) -> Draft:
    """The event a line holds; ValueError, KeyError or TypeError where it holds none."""
    at, t_us, kind, body = told["at"], told["t_us"], told["kind"], told["body"]
    if not isinstance(at, str) or WHEN.fullmatch(at) is None:
        raise ValueError("`at` is a time such as 2026-05-04T14:03:22.120000Z")
    if type(t_us) is not int or abs(t_us) > MOST_WHOLE or not isinstance(kind, str) or not isinstance(body, dict):
        raise ValueError("`t_us` is a whole number, `kind` text, `body` an object")
    at_us = (datetime.fromisoformat(at) - EPOCH) // MICROSECOND
    raw = told.get("raw", "")
    if kind != EventKind.RAW:
        if not isinstance(raw, str):
            raise ValueError("`raw` is text")
        return Draft(at_us, t_us, kind, body, raw.encode("latin-1"))
    if not raw or not isinstance(raw, list) or not all(map(_is_chunk, raw)):
        raise ValueError("`raw` is a list of [time, channel, text]")
    chunks = [RawChunk(when, data.encode("latin-1"), channel) for when, channel, data in raw]
    packed = raw_draft(at_us, chunks)
    return Draft(at_us, t_us, kind, body, packed.raw)


def _is_chunk(told: object) -> bool:
    return isinstance(told, list) and list(map(type, told)) == [int, str, str]


def _lines(source: Path) -> Iterator[tuple[int, dict[str, Any]]]:
    try:
        with source.open(encoding="utf-8", errors="strict", newline="\n") as file:
            for number, line in enumerate(iter(lambda: file.readline(LONGEST_LINE + 1), ""), 1):
                told = _object(source, number, line)
                if number == 1:
                    if told.get("schema") != SCHEMA:
                        raise WrongFile(
                            source, [f'line 1: not a session as JSON Lines; it begins with {{"schema":"{SCHEMA}"}}']
                        )
                elif told:
                    yield number, told
    except OSError as error:
        raise WrongFile(source, [f"it cannot be read ({error.strerror})"]) from error
    except UnicodeDecodeError as error:
        raise WrongFile(source, ["it is not UTF-8 text"]) from error


def _object(source: Path, number: int, line: str) -> dict[str, Any]:
    if len(line) > LONGEST_LINE:
        raise WrongFile(source, [f"line {number}: longer than {LONGEST_LINE} characters"])
    if not line.strip():
        return {}
    try:
        told = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise WrongFile(source, [f"line {number}: not JSON ({error})"]) from error
    if not isinstance(told, dict):
        raise WrongFile(source, [f"line {number}: not an object"])
    return told


def _why(error: Exception) -> str:
    if isinstance(error, UnicodeError):
        return "it holds a character that cannot be kept"
    return f"{error} is missing" if isinstance(error, KeyError) else str(error) or "it makes no sense"


def _line(told: dict[str, Any]) -> str:
    return shown_json(json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":"))) + "\n"


def copy_session(path: Path | str, out: Path | str) -> None:
    """Write what is saved now to one self-contained file, also of a live session; CannotWrite if `out` exists."""
    out = Path(out)
    if out.exists():
        raise CannotWrite(out, "it exists already")
    with Session.open(path) as session:
        session.copy_to(out)
