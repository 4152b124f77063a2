"""Whether a session is what was recorded: the digest chain, then every observation made again from the raw bytes."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drivers.errors import DriverError
from drivers.instrument import parse
from logger.errors import CorruptSession, FileError, Refused
from logger.observation import Survey
from logger.session.chain import chained
from logger.session.derive import WAY, Pipeline, breaks
from logger.session.events import Draft, Event, EventKind, canonical
from logger.session.fieldbook import TAPED, FieldBook
from logger.session.observed import observed_body, tag_of
from logger.session.replay import apply, survey_of
from logger.session.store import SENSELESS, Session

if TYPE_CHECKING:
    from logger.profile import Profile

SAME_M = 1e-9


@dataclass(frozen=True, slots=True)
class Verified:
    """What was checked: counts, the digest of the last event, and the event that carries a digest printed on paper.

    `exact` counts the observations made again to the last bit; `same_way` is false where an earlier version settled
    them in another way, so that they cannot be. `closed` is false where the recorder was killed or the end cut off.
    """

    events: int
    chunks: int
    readings: int
    observations: int
    exact: int
    same_way: bool
    closed: bool
    digest: str
    printed_at: int | None = None


def verify(path: Path | str, printed: str = "") -> tuple[Verified, Survey, Survey]:
    """Check a session; what was checked, the survey as recorded and the survey derived again from the raw bytes.

    `printed` is a digest from a sheet, whole or its beginning. CorruptSession names the first bad event.
    """
    path = Path(path)
    with Session.open(path) as session:
        if (fault := session.sound()) != "ok":
            raise CorruptSession(path, f"the file is damaged ({fault})")
        derived, recorded = Derived(path), FieldBook()
        printed_at = None
        for event in chained(session):
            apply(recorded, event, path)
            derived.take(event)
            if printed and event.digest.hex().startswith(printed.lower()):
                printed_at = event.n
        if printed and printed_at is None:
            raise CorruptSession(
                path, f"no event carries the digest {printed}: this is not the file that was printed from"
            )
        digest = session.digest.hex()
        counts = Verified(
            session.events_saved,
            derived.chunks,
            derived.readings,
            sum(e.body["kind"] not in TAPED for e in recorded.entries),
            derived.exact,
            same_way=derived.same_way,
            closed=recorded.closed,
            digest=digest,
            printed_at=printed_at,
        )
    return counts, survey_of(recorded, digest, path), survey_of(derived.book, digest, path)


class Derived:
    """A field book made again from raw bytes and tags by the code that made the first; differences are refused.

    `exact` counts the observations equal to the last bit: all of them, unless this machine's arithmetic is another, or
    an earlier version settled in another way: then other numbers are no sign of tampering, and are counted alone.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.book = FieldBook()
        self.chunks = self.exact = 0
        self._done = 0
        self._pipeline: Pipeline | None = None
        self.same_way = True

    @property
    def readings(self) -> int:
        """Readings decoded so far."""
        return self._done + (self._pipeline.readings if self._pipeline else 0)

    def take(self, event: Event) -> None:
        """Take one event in; CorruptSession if an observation is not what its raw bytes give."""
        try:
            again = self._take(event)
        except (*SENSELESS, DriverError, Refused) as error:
            raise CorruptSession(
                self.path, f"event {event.n} ({event.kind}) cannot be derived: {error}", event.n
            ) from error
        self.book.apply(again)

    def _take(self, event: Event) -> Event | Draft:
        match event.kind:
            case EventKind.OPENED:
                self._done = self.readings
                self.same_way = self.same_way and event.body.get("way", WAY) == WAY
                text = event.body["instrument"]["text"]
                self._pipeline = Pipeline(parse(text, "the recorded instrument")) if text else None
            case EventKind.RAW:
                pipeline = self._must_have()
                for chunk in event.chunks():
                    self.chunks += 1
                    pipeline.feed(chunk)
            case EventKind.LINK | EventKind.CLOCK if breaks(event.body) and self._pipeline is not None:
                self._pipeline.gap()
            case EventKind.OBSERVED if event.body["kind"] not in TAPED and not event.body.get("entered"):
                return self._observe(event)
        return event

    def _observe(self, event: Event) -> Draft:
        body: dict[str, Any] = event.body
        tag, since_us = tag_of(body), body["since_us"]
        settled = self._must_have().take(since_us, forced=tag.forced)
        if settled is None and not self.same_way:
            return Draft(event.at_us, event.t_us, event.kind, body)
        if settled is None:
            raise ValueError("its raw bytes give no such reading")
        again = observed_body(self.book, tag, settled, since_us)
        if canonical(again) == event.text:
            self.exact += 1
        elif (wrong := _differing(again, body)) and self.same_way:
            raise ValueError(f"its raw bytes give another {', '.join(wrong)}")
        return Draft(event.at_us, event.t_us, event.kind, again)

    def _must_have(self) -> Pipeline:
        if self._pipeline is None:
            raise ValueError("no instrument was recorded before it")
        return self._pipeline


def _differing(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    return sorted(key for key in {*one, *other} if not _close(one.get(key), other.get(key)))


def _close(one: object, other: object) -> bool:
    if type(one) is float and type(other) is float:
        return abs(one - other) <= SAME_M
    return type(one) is type(other) and one == other


def same_profile(recorded: Survey, derived: Survey) -> bool:
    """Whether both surveys adjust to the same elevations within 1e-9 m, or are equal and cannot be adjusted."""
    from logger.reduction.adjustment import adjust

    try:
        one = adjust(recorded).profile
    except (Refused, FileError, ValueError):
        return recorded == derived
    pairs = zip(_elevations(one), _elevations(adjust(derived).profile), strict=True)
    return all(abs(a - b) <= SAME_M for a, b in pairs)


def _elevations(profile: "Profile") -> list[float]:
    return [p.elevation_m for p in profile.points] + [p.elevation_m for p in profile.named]
