"""The digest chain: whether every event is the one that was saved, in its place."""

from collections.abc import Iterator

from logger.errors import CorruptSession
from logger.session.events import GENESIS, Event, digest_of
from logger.session.store import Session

LOWEST = -(2**63)


def chained(session: Session) -> Iterator[Event]:
    """The events in order, each checked to follow the one before; CorruptSession names the first that does not."""
    before = GENESIS
    for n, event in enumerate(session.events(after=LOWEST), 1):
        if event.n != n:
            raise CorruptSession(session.path, f"event {n} is missing: the next is {event.n}", n)
        if digest_of(event, before) != event.digest:
            raise CorruptSession(session.path, _how(session, event), n)
        before = event.digest
        yield event


def _how(session: Session, bad: Event) -> str:
    following = next(session.events(after=bad.n), None)
    if following is not None and digest_of(following, bad.digest) == following.digest:
        return f"event {bad.n} ({bad.kind}) was changed: its digest is not that of what it says"
    sources = {GENESIS: 0} | {event.digest: event.n for event in session.events(after=LOWEST)}
    for digest, n in sources.items():
        if n != bad.n - 1 and digest_of(bad, digest) == bad.digest:
            return f"event {bad.n} ({bad.kind}) was moved: it follows event {n}"
    return f"event {bad.n} ({bad.kind}) was changed, inserted or renumbered: it does not follow event {bad.n - 1}"
