"""The best layout so far: worked out beside the screen, in one daemon thread that only keeps the latest question."""

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from drivers.errors import DriverError
from logger.errors import RiseError

if TYPE_CHECKING:
    from logger.profile import Profile
    from logger.steps.brief import Brief
    from logger.steps.option import Options

log = logging.getLogger(__name__)
LEAST_POINTS = 2


@dataclass(frozen=True, slots=True)
class Question:
    """A session or profile file, and what is wanted: a brief as its tables are written, and where it came from.

    With `until_us` a session is taken as it stood at that session time; only of the count `explain` is it worked out
    what would mend it, so that the screen never waits for that of all.
    """

    file: Path
    document: Mapping[str, Any] = field(default_factory=dict)
    source: str = "the brief"
    until_us: int | None = None
    explain: int | None = None


@dataclass(frozen=True, slots=True)
class Best:
    """What came of a question; `trouble` says in a sentence why there is no layout."""

    question: Question
    profile: "Profile | None" = None
    brief: "Brief | None" = None
    options: "Options | None" = None
    trouble: str = ""
    mistakes: tuple[str, ...] = field(default=())


def solved(question: Question) -> Best:
    """Reduce the walk and lay steps over it; every failure is a sentence in the answer."""
    from logger.errors import WrongFile
    from logger.profile_file import read_profile
    from logger.steps.brief import brief_of
    from logger.steps.solve import solve

    profile = brief = None
    try:
        brief = brief_of(question.document, source=question.source)
        profile = read_profile(question.file, until_us=question.until_us)
        if len(profile.points) < LEAST_POINTS:
            return Best(question, profile, brief, trouble="two stations are needed before steps can be laid")
        return Best(question, profile, brief, solve(profile, brief, question.explain, mend_all=False))
    except WrongFile as error:
        return Best(question, profile, brief, trouble=error.mistakes[0], mistakes=tuple(error.mistakes))
    except (RiseError, DriverError) as error:
        return Best(question, profile, brief, trouble=str(error))


Asked = TypeVar("Asked")
Answered = TypeVar("Answered")


class Solver(Generic[Asked, Answered]):
    """Answers questions in a thread of its own; one asked while it works replaces any that waits.

    `solve` turns its failures into answers itself; what it does not foresee is logged and answers nothing.
    """

    def __init__(self, solve: Callable[[Asked], Answered], answered: Callable[[Answered], None]) -> None:
        self._solve = solve
        self._answered = answered
        self._waiting: Asked | None = None
        self._asked = threading.Condition()
        self._ended = False
        self._thread: threading.Thread | None = None

    def ask(self, question: Asked) -> None:
        """Answer this one next; the thread starts with the first question."""
        with self._asked:
            self._waiting = question
            self._asked.notify()
            if self._thread is None and not self._ended:
                self._thread = threading.Thread(target=self._work, name="solving", daemon=True)
                self._thread.start()

    def end(self) -> None:
        """Answer no more; a question being worked on is dropped when it is done."""
        with self._asked:
            self._ended = True
            self._asked.notify()

    def _work(self) -> None:
        while True:
            with self._asked:
                self._asked.wait_for(lambda: self._ended or self._waiting is not None)
                if self._ended:
                    return
                question, self._waiting = self._waiting, None
            assert question is not None
            try:
                answer = self._solve(question)
            except Exception:
                log.exception("a layout or a check could not be worked out")
                continue
            if not self._ended:
                self._answered(answer)
