"""What set out and check share: the marks of the layout chosen, worked through one by one with the probe."""

from abc import abstractmethod
from typing import TYPE_CHECKING

from logger.guidance import Level
from tui.messages import BestSolved, BookChanged, LinkChanged, LiveChanged
from tui.screens.tagging import TaggingScreen
from tui.walking.distances import lasted
from tui.walking.suggestion import Suggestion, zero_check
from tui.walking.walk import Answer
from tui.widgets.bars import TakeBar
from tui.widgets.guidance import Marks

if TYPE_CHECKING:
    from logger.guidance import Target
    from logger.setout import SetOut
    from tui.walking.marking import Marking

ZERO_OLD_S = 3600.0
"""An hour after which the zero is observed again before marks are taken (common practice)."""


class MarkingScreen(TaggingScreen):
    """A screen that works from mark to mark; `show_book` and `show_live` say how it looks."""

    CSS_PATH = "setout.tcss"
    level: Level | None = None

    def __init__(self) -> None:
        super().__init__()
        self.marking: Marking | None = None
        self._of: SetOut | None = None

    @abstractmethod
    def show_book(self) -> None:
        """Show what the field book and the layout say."""

    @abstractmethod
    def show_live(self) -> None:
        """Show what the instrument says."""

    @property
    def target(self) -> "Target | None":
        """The mark worked on, None where there is none."""
        return self.marking.target if self.marking else None

    @property
    def wanted(self) -> Suggestion | None:
        """What the take key does: the zero first where it is due, then the mark in front."""
        walk, target = self.walk, self.target
        if walk is None or (standing := walk.now) is None:
            return None
        if standing.zero is None or standing.zero.age_s > ZERO_OLD_S:
            return zero_check(standing, walk.rows)
        if self.marking is None or target is None:
            return None
        return Suggestion("\n".join(self.marking.lines(target)), self.where())

    def where(self) -> str:
        """The mark in front, in words."""
        target = self.target
        return "" if target is None else f"riser {target.riser} {target.place}, {target.level.value}"

    def on_mount(self) -> None:
        """Show what is known already."""
        self.show_all()

    def on_screen_resume(self) -> None:
        """Back in front."""
        self.show_all()

    def on_live_changed(self, _: LiveChanged) -> None:
        """The instrument shows something new."""
        self.show_live()

    def on_link_changed(self, _: LinkChanged) -> None:
        """The line was lost or is back."""
        self.show_live()

    def on_book_changed(self, _: BookChanged) -> None:
        """Something was observed, struck out or renamed."""
        self.show_all()

    def on_best_solved(self, _: BestSolved) -> None:
        """Another layout."""
        self.show_all()

    def action_take(self) -> None:
        """Keep what is under the probe, and go on to the next."""
        if (wanted := self.wanted) is not None and not self.waiting:
            self.send(*wanted.command.split("\n"), words=wanted.words)

    def action_force(self) -> None:
        """The same without waiting for steady."""
        if (wanted := self.wanted) is not None:
            self.force(*wanted.command.split("\n"), words=wanted.words)

    def action_next_mark(self) -> None:
        """The next mark."""
        self.go(1)

    def action_last_mark(self) -> None:
        """The mark before."""
        self.go(-1)

    def action_zero(self) -> None:
        """Observe the zero again."""
        walk = self.walk
        if walk is not None and walk.standing is not None and not self.waiting:
            wanted = zero_check(walk.standing, walk.rows)
            self.send(wanted.command, words=wanted.words)

    def go(self, by: int) -> None:
        """Another mark."""
        if self.marking is not None:
            self.marking.go(by)
            self.show_all()

    def answered(self, answer: Answer, words: str) -> None:
        """A mark was taken: on to the next."""
        if answer.get("ok") and words and words == self.where() and self.marking is not None and self.walk is not None:
            self.marking.read(self.walk.rows)
            self.marking.forward()
        self.show_all()

    def show_take(self) -> None:
        """What the take key does."""
        bar, wanted = self.query_one(TakeBar), self.wanted
        if self.waiting:
            bar.show(f"waiting for steady: {self.waiting}", "…")
        elif wanted is None:
            bar.show(self.desk.draft.no_marks or "waiting for the recorder", "…")
        else:
            bar.show(f"{wanted.do} {wanted.words}".strip())

    def show_all(self) -> None:
        """Everything."""
        self._renew()
        self.desk.title_tabs(self)
        if self.marking is not None and self.walk is not None:
            self.marking.read(self.walk.rows)
        self.query_one(Marks).show(self.marking, self.desk.units)
        self.show_book()
        self.show_take()
        self.show_live()

    def progress(self) -> str:
        """How far the work is, and on what line and zero."""
        marking, walk = self.marking, self.walk
        if marking is None or walk is None or (standing := walk.now) is None:
            return ""
        zero = "no zero" if standing.zero is None else f"zero {standing.zero.name} {lasted(standing.zero.age_s)}"
        return f"{marking.done} of {len(marking.targets)} taken · {standing.link} · {zero}"

    def _renew(self) -> None:
        from tui.walking.marking import Marking

        plan, profile = self.desk.draft.marks, self.desk.draft.best.profile if self.desk.draft.best else None
        if plan is self._of:
            return
        self._of, before = plan, self.marking
        self.marking = None
        if plan is None or profile is None:
            return
        self.marking = Marking(plan, profile.ground(), self.level)
        if self.walk is not None:
            self.marking.read(self.walk.rows)
        if before is not None:
            self.marking.follow(before)
        else:
            self.marking.choose_level(self.marking.level)
