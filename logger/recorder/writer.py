"""The thread that writes the session, so that whoever reads the instrument never waits for the disk."""

import queue
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field

from logger.errors import RiseError, Vanished
from logger.session.events import Draft, Event
from logger.session.rescue import rescued
from logger.session.store import Session

MOST_BACKLOG = 32 * 1024 * 1024
"""Raw bytes held in memory while the disk refuses; past it nothing more is heard until it takes them."""
RESCUE_PAUSE_S = 5.0
"""Between two attempts to save a session whose file is gone: each may write the whole of it."""


@dataclass(slots=True)
class _Job:
    keep: Sequence[Draft]
    offer: Sequence[Draft] = ()
    saved: "Future[list[Event]] | None" = None


@dataclass(slots=True)
class Backlog:
    """What must be kept and is not on the disk yet, because the disk refused."""

    drafts: list[Draft] = field(default_factory=list)
    size: int = 0
    refusal: str = ""

    def add(self, drafts: Sequence[Draft]) -> None:
        """Hold more, in order."""
        self.drafts.extend(drafts)
        self.size += sum(len(d.raw) for d in drafts)

    def clear(self) -> None:
        """All of it is saved."""
        self.drafts.clear()
        self.size, self.refusal = 0, ""


class Writer:
    """Takes events from the loop and appends them in order, one transaction a job.

    What is `kept` (raw bytes, link changes) stays in memory and is tried again with the next job while the disk
    refuses; what is `offered` (tags, notes) is saved with its job or refused. Where the file is gone, recording goes on
    in another, and `moved` is called in the writer's thread.
    """

    def __init__(self, session: Session, moved: Callable[[], object] = lambda: None) -> None:
        self.session = session
        self._moved = moved
        self._not_before_s = 0.0
        self.backlog = Backlog()
        self.saved_at_us = 0
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="session writer")
        self._thread.start()

    def keep(self, drafts: Sequence[Draft]) -> None:
        """Save these, now or when the disk allows it again."""
        self._jobs.put(_Job(drafts))

    def offer(self, keep: Sequence[Draft], offer: Sequence[Draft]) -> "Future[list[Event]]":
        """Save both in one transaction; the future gives the offered events once durable, or why they are not."""
        job = _Job(keep, offer, Future())
        assert job.saved is not None
        self._jobs.put(job)
        return job.saved

    @property
    def has_room(self) -> bool:
        """Whether more may be held while the disk refuses."""
        return self.backlog.size < MOST_BACKLOG

    def close(self) -> None:
        """Write what is queued, then close the session; returns when both are done."""
        self._jobs.put(None)
        self._thread.join()

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            self._save(job)
        self.session.close()

    def _append(self, drafts: Sequence[Draft]) -> list[Event]:
        try:
            return self.session.append(drafts)
        except Vanished:
            if time.monotonic() < self._not_before_s:
                raise
            self._not_before_s = time.monotonic() + RESCUE_PAUSE_S
            self.session = rescued(self.session)
        self._moved()
        return self.session.append(drafts)

    def _save(self, job: _Job) -> None:
        self.backlog.add(job.keep)
        drafts = [*self.backlog.drafts, *job.offer]
        try:
            events = self._append(drafts)
        except (RiseError, ValueError, OSError) as error:
            self.backlog.refusal = str(error)
            if job.saved is not None:
                job.saved.set_exception(error)
            return
        if drafts:
            self.backlog.clear()
            self.saved_at_us = events[-1].at_us
        if job.saved is not None:
            job.saved.set_result(events[len(events) - len(job.offer) :])
