"""What a session holds: events, each carrying the digest of its canonical form and of the one before it."""

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from functools import cache
from hashlib import sha256
from typing import Any

from logger.session.packing import Batch, RawChunk, pack, unpack

FORMAT = 1
GENESIS = sha256(b"risewalk session 1").digest()
"""What stands before the first event."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)


class EventKind(StrEnum):
    """The kinds of event this version writes; kinds it does not know are carried and shown."""

    OPENED = "opened"
    RAW = "raw"
    LINK = "link"
    CLOCK = "clock"
    SETUP = "setup"
    SURFACE = "surface"
    ROD = "rod"
    OBSERVED = "observed"
    STRUCK = "struck"
    NOTED = "noted"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Draft:
    """An event before it is in the file: UTC and session time in microseconds, kind, body, raw bytes."""

    at_us: int
    t_us: int
    kind: str
    body: Mapping[str, Any]
    raw: bytes = b""


@dataclass(frozen=True, slots=True)
class Event:
    """An event in the file; `text` is its body as canonical JSON, `digest` covers all and the digest before it."""

    n: int
    at_us: int
    t_us: int
    kind: str
    text: str
    raw: bytes
    digest: bytes

    @property
    def body(self) -> dict[str, Any]:
        """The body, read anew."""
        body = json.loads(self.text)
        if not isinstance(body, dict):
            raise ValueError("the body of an event is not an object")
        return body

    @property
    def at(self) -> str:
        """The UTC time as ISO 8601."""
        return iso(self.at_us)

    def chunks(self) -> Iterator[RawChunk]:
        """The raw bytes it holds, chunk by chunk; ValueError where they cannot be unpacked."""
        body = self.body
        channels = body.get("channels")
        if not isinstance(channels, list) or not all(isinstance(c, str) for c in channels):
            raise ValueError("a batch of raw bytes names no channels")
        times = [body.get("from_us"), body.get("to_us")]
        if not all(type(t) is int for t in times):
            raise ValueError("a batch of raw bytes has no times")
        return unpack(Batch(tuple(channels), body["from_us"], body["to_us"], self.raw))


def raw_draft(at_us: int, chunks: Sequence[RawChunk]) -> Draft:
    """The event that keeps these chunks."""
    batch = pack(chunks)
    body = {"channels": list(batch.channels), "chunks": len(chunks), "from_us": batch.from_us, "to_us": batch.to_us}
    return Draft(at_us, batch.to_us, EventKind.RAW, body, batch.packed)


def canonical(body: Mapping[str, Any]) -> str:
    """JSON with sorted keys and no spaces; ValueError for a number that is not finite."""
    return json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def sealed(draft: Draft, n: int, before: bytes) -> Event:
    """Number a draft and give it the digest that ties it to the event before it."""
    event = Event(n, draft.at_us, draft.t_us, str(draft.kind), canonical(draft.body), draft.raw, b"")
    return Event(n, event.at_us, event.t_us, event.kind, event.text, event.raw, digest_of(event, before))


def digest_of(event: Event, before: bytes) -> bytes:
    """SHA-256 over the digest before, the event's numbers, kind and body on lines of their own, and its raw bytes."""
    head = f"{event.n}\n{event.at_us}\n{event.t_us}\n{event.kind}\n{event.text}\n"
    return sha256(b"".join((before, head.encode("utf-8", "surrogateescape"), event.raw))).digest()


@cache
def program_version() -> str:
    """The version of this program, as its package says."""
    from importlib.metadata import version

    return version("risewalk")


def iso(at_us: int) -> str:
    """A UTC time in microseconds as ISO 8601 with milliseconds."""
    return (EPOCH + at_us * MICROSECOND).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def seconds(t_us: int) -> float:
    """Session time in seconds: the one way it is made a float, so that a replay gives the same bits."""
    return t_us / 1e6


def finite(value: float) -> float:
    """The number itself, or ValueError if it is not finite: nothing else may be stored."""
    if not math.isfinite(value):
        raise ValueError("a number that is not finite may not be stored")
    return value
