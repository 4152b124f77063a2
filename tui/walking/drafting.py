"""The layouts of one walk: what is wanted, what came of it, which is chosen, its marks, and the check of what is built.

Solving and checking go on in threads of their own; `told` and `judged` are called there.
"""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from drivers.lengths import Units
from logger.errors import RiseError, WrongFile
from tui.walking.best import LEAST_POINTS, Best, Question, Solver, solved
from tui.walking.figures import Point
from tui.walking.plan import chosen
from tui.walking.verdict import Checked, Finished, checked
from tui.walking.wanted import Wanted, wanted_for

if TYPE_CHECKING:
    from logger.setout import SetOut
    from logger.steps.option import Option


class Drafting:
    """Steps on the ground of one session after the other."""

    def __init__(self, told: Callable[[Best], None], judged: Callable[[Checked], None]) -> None:
        self.wanted: Wanted | None = None
        self.best: Best | None = None
        self.risers: int | None = None
        self.explain: int | None = None
        """A count of which is asked why it cannot be."""
        self._session = Path()
        self._counts = (-1, -1)
        self._solver = Solver(solved, told)
        self._checker = Solver(checked, judged)
        self._marks: tuple[Best | None, Option | None, SetOut | None, str] = (None, None, None, "")

    def clear(self) -> None:
        """Another session: nothing is known of its steps."""
        self.wanted = self.best = self.risers = self.explain = None
        self._counts = (-1, -1)

    def begin(self, session: Path, brief: Path | None, units: Units) -> str:
        """Read what is wanted; a brief that cannot be read is said, and the first one of all taken instead."""
        self._session = session
        try:
            self.wanted = wanted_for(session, brief, units)
        except WrongFile as error:
            self.wanted = wanted_for(session.with_suffix(".none"), None, units)
            return str(error)
        return ""

    def observed(self, observations: int, struck: int, until_us: int | None = None) -> None:
        """Lay steps again where the book has changed; with less than a zero and two stations there are none."""
        if (observations, struck) != self._counts:
            self._counts = (observations, struck)
            if observations > LEAST_POINTS:
                self.ask(until_us)

    def ask(self, until_us: int | None = None) -> None:
        """Lay steps on what is in the file by now, or was at a session time."""
        if self.wanted is not None:
            source = str(self.wanted.path)
            self._solver.ask(Question(self._session, self.wanted.document, source, until_us, self.explain))

    def keep(self, best: Best) -> None:
        """Keep an answer, unless another session was opened since it was asked for."""
        if best.question.file == self._session:
            self.best = best

    @property
    def answered(self) -> bool:
        """Whether what was last wanted is answered by now."""
        if self.best is None or self.wanted is None:
            return False
        question = self.best.question
        return question.document is self.wanted.document and question.explain == self.explain

    def ask_check(self) -> None:
        """Judge what is built so far against the layout chosen."""
        best, option = self.best, self.option
        if best is not None and option is not None and best.profile is not None and best.brief is not None:
            self._checker.ask(Finished(self._session, best.profile, option, best.brief))

    def end(self) -> None:
        """Answer no more."""
        self._solver.end()
        self._checker.end()

    @property
    def option(self) -> "Option | None":
        """The layout chosen, else the one ranked best."""
        return chosen(self.best, self.risers)

    @property
    def marks(self) -> "SetOut | None":
        """What to mark for the layout chosen, heights above the zero; None where there is none."""
        return self._made()[2]

    @property
    def no_marks(self) -> str:
        """Why there is nothing to mark, in a sentence."""
        return self._made()[3]

    @property
    def ground(self) -> list[Point]:
        """The adjusted ground as stations and heights above the zero; empty before there is one."""
        if self.best is None or self.best.profile is None:
            return []
        line = self.best.profile.ground()
        return [(float(x), float(z)) for x, z in zip(line.stations_m, line.elevations_m, strict=True)]

    @property
    def steps(self) -> list[Point]:
        """The finished surface of the layout chosen, above the zero; empty before there is one."""
        return self.marks.finished_line() if self.marks is not None else []

    def _made(self) -> "tuple[Best | None, Option | None, SetOut | None, str]":
        best, option = self.best, self.option
        if self._marks[0] is not best or self._marks[1] is not option:
            self._marks = (best, option, *_marks_of(best, option))
        return self._marks


def _marks_of(best: Best | None, option: "Option | None") -> "tuple[SetOut | None, str]":
    from logger.setout import set_out

    if best is None or option is None or best.profile is None or best.brief is None:
        return None, "No layout yet: walk the ground, then look at the steps."
    try:
        return set_out(best.profile, option, best.brief), ""
    except RiseError as error:
        return None, str(error)
