"""News of the walk that nobody asked for: what others took, what comes next, the best steps so far, what to mind."""

import asyncio
import contextlib
from collections.abc import Callable
from pathlib import Path

from logger.errors import WrongFile
from tui.plain.talk import Talk
from tui.walking.best import Best, Question, Solver, solved
from tui.walking.doubts import CHECKS, warnings
from tui.walking.telling import called
from tui.walking.wanted import Wanted, brief_beside, wanted_for


class News:
    """Says each thing once, when it changes. `known` are the observations that were told; `ready`: a status came."""

    def __init__(self, talk: Talk, say: Callable[[str], None], session: Path, brief: Path | None) -> None:
        self.walk, self.talk, self.say = talk.walk, talk, say
        self.ready = asyncio.Event()
        self.known: set[int] = set()
        self._session, self._brief = session, brief
        self._wanted: Wanted | None = None
        self._counts = (0, 0)
        self._told: dict[str, str] = {}
        self._minded: set[str] = set()
        self._loop = asyncio.get_running_loop()
        self._solver = Solver(solved, self._answered)

    def end(self) -> None:
        """No more layouts."""
        self._solver.end()

    def catch_up(self) -> None:
        """Tell what is new in the book, and what comes next."""
        walk = self.walk
        if walk.standing is None:
            return
        if not self.ready.is_set():
            self._begin()
        for row in walk.rows:
            if row.n not in self.known:
                self.known.add(row.n)
                self.say(f"Taken by another screen: no. {row.n}, {called(row, self.talk.units)}.")
        self._ask_best()
        self._once("next", self.talk.next_line())

    def mind(self) -> None:
        """Warnings, each kind once until it has passed."""
        standing = self.walk.now
        if standing is None:
            return
        found = {w.partition(":")[0]: w for w in warnings(standing, self.walk.live, self.walk.rows, self.talk.units)}
        for kind in found.keys() - self._minded:
            self.say(f"Mind: {found[kind]}.")
        self._minded = set(found)

    def _begin(self) -> None:
        standing, rows = self.walk.standing, self.walk.rows
        assert standing is not None
        self.known = {row.n for row in rows}
        self.say(f"Open: {standing.session}, {standing.observations} observed. Type help for the words there are.")
        for check in () if rows else CHECKS:
            self.say(f"Check: {check}")
        path = self._brief or brief_beside(self._session)
        if path is not None:
            try:
                self._wanted = wanted_for(self._session, path, standing.units)
            except WrongFile as error:
                self.say(f"Refused: {error}")
        self.ready.set()

    def _ask_best(self) -> None:
        standing = self.walk.standing
        if self._wanted is None or standing is None:
            return
        counts = (standing.observations, standing.struck)
        if counts != self._counts:
            self._counts = counts
            self._solver.ask(Question(self._session, self._wanted.document, str(self._wanted.path)))

    def _answered(self, best: Best) -> None:
        with contextlib.suppress(RuntimeError):  # the walk was left meanwhile
            self._loop.call_soon_threadsafe(self._solved, best)

    def _solved(self, best: Best) -> None:
        self.talk.best = best
        self._once("best", self.talk.best_line())

    def _once(self, what: str, line: str) -> None:
        if line and self._told.get(what) != line:
            self.say(line)
        self._told[what] = line
