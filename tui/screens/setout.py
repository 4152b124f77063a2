"""Set out: the probe at a mark, one large word what to do, how much in large numerals, the next mark by one key."""

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from logger.errors import RiseError
from tui.actions import Place, bindings
from tui.messages import BestSolved, BookChanged, LinkChanged, LiveChanged
from tui.screens.tagging import TaggingScreen
from tui.sound import Sound
from tui.walking import plan
from tui.walking.distances import distance, height
from tui.walking.suggestion import Suggestion, zero_check
from tui.walking.walk import Answer
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.guidance import Amount, Marks, Word

if TYPE_CHECKING:
    from logger.steps.option import Option
    from tui.walking.best import Best
    from tui.walking.marking import Marking

ZERO_OLD_S = 3600.0
"""An hour after which the zero is observed again before marks are taken (common practice)."""


class SetOutScreen(TaggingScreen):
    """Live guidance from mark to mark."""

    CSS_PATH = "setout.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.SET_OUT)]
    place = Place.SET_OUT

    def __init__(self) -> None:
        super().__init__()
        self._marking: Marking | None = None
        self._of: tuple[Best | None, Option | None] = (None, None)
        self._why_not = "No layout to set out yet: walk the ground, then look at the steps."

    def body(self) -> ComposeResult:
        """Target, word, amount, marks."""
        yield Saying(id="target")
        yield Word(id="word")
        yield Amount(id="amount")
        yield Saying(id="exact")
        yield Marks(id="marks")
        yield Saying(id="progress")
        yield TakeBar("screen.take")
        yield Saying(id="said")

    def on_mount(self) -> None:
        """Show what is known already."""
        self._show()

    def on_screen_resume(self) -> None:
        """Back in front."""
        self._show()

    def on_live_changed(self, _: LiveChanged) -> None:
        """Say what to do for this reading."""
        self._show_live()

    def on_link_changed(self, _: LinkChanged) -> None:
        """The line was lost or is back."""
        self._show_live()

    def on_book_changed(self, _: BookChanged) -> None:
        """A mark was taken, units changed."""
        self._show()

    def on_best_solved(self, _: BestSolved) -> None:
        """Another layout."""
        self._show()

    def action_take(self) -> None:
        """Keep what is under the probe, and go on to the next mark."""
        wanted = self._zero()
        if wanted is not None:
            self.send(wanted.command, words=wanted.words)
        elif (marking := self._marking) is not None and marking.target is not None and not self.waiting:
            self.send(*marking.lines(marking.target), words=self._where())

    def action_force(self) -> None:
        """The same without waiting for steady."""
        marking = self._marking
        if marking is not None and marking.target is not None and self._zero() is None:
            self.force(marking.lines(marking.target)[0], self._where())

    def action_next_mark(self) -> None:
        """The next mark."""
        self._go(1)

    def action_last_mark(self) -> None:
        """The mark before."""
        self._go(-1)

    def action_level(self) -> None:
        """Work to base top, subgrade, ground crossing or finished height."""
        if self._marking is not None:
            self._marking.next_level()
            self._show()

    def action_zero(self) -> None:
        """Observe the zero again."""
        walk = self.walk
        if walk is not None and walk.standing is not None:
            wanted = zero_check(walk.standing, walk.rows)
            self.send(wanted.command, words=wanted.words)

    def answered(self, answer: Answer, words: str) -> None:
        """A mark was taken: on to the next."""
        marking = self._marking
        if answer.get("ok") and words and marking is not None and words == self._where() and marking.target:
            marking.taken.add(marking.key(marking.target))
            marking.forward()
        self._show()

    def show_take(self) -> None:
        """What the take key does."""
        bar, wanted = self.query_one(TakeBar), self._zero()
        if self.waiting:
            bar.show(f"waiting for steady: {self.waiting}", "…")
        elif wanted is not None:
            bar.show(f"{wanted.do} {wanted.words}")
        elif self._marking is None or self._marking.target is None:
            bar.show(self._why_not, "…")
        else:
            bar.show(self._where())

    def _zero(self) -> Suggestion | None:
        """The zero check that comes first, if one is due."""
        walk = self.walk
        if walk is None or (standing := walk.now) is None:
            return None
        old = standing.zero is None or standing.zero.age_s > ZERO_OLD_S
        return zero_check(standing, walk.rows) if old else None

    def _go(self, by: int) -> None:
        if self._marking is not None:
            self._marking.go(by)
            self._show()

    def _where(self) -> str:
        target = self._marking.target if self._marking else None
        return "" if target is None else f"riser {target.riser} {target.place}, {target.level.value}"

    def _renew(self) -> None:
        from tui.walking.marking import Marking

        best, option = self.desk.best, plan.chosen(self.desk.best, self.desk.risers)
        if best is self._of[0] and option is self._of[1]:
            return
        self._of, before = (best, option), self._marking
        self._marking = None
        if best is None or option is None or best.profile is None or best.brief is None:
            return
        try:
            marking = Marking.of(best.profile, option, best.brief)
        except RiseError as error:
            self._why_not = str(error)
            return
        if not marking.targets:
            marking.next_level()
        if before is not None and len(before.targets) == len(marking.targets):
            marking.taken |= before.taken
            marking.choose_level(before.level)
            marking.at = before.at
        self._marking = marking

    def _show(self) -> None:
        self._renew()
        self.desk.title_tabs(self)
        marking, walk, units = self._marking, self.walk, self.desk.units
        target_line, progress = self.query_one("#target", Saying), self.query_one("#progress", Saying)
        if marking is None or marking.target is None or walk is None:
            target_line.show(self._why_not, "alarm")
            progress.show("")
            self.query_one(Marks).show(None, units)
        else:
            marking.read(walk.rows)
            target = marking.target
            tape = distance(marking.tape_m(target), units)
            target_line.show(f"{self._where()} {height(target.height_m, units)}, tape {tape}", "strong")
            done = sum(marking.key(t) in marking.taken for t in marking.targets)
            progress.show(f"{done} of {len(marking.targets)} taken, {marking.level.value}")
            self.query_one(Marks).show(marking, units)
        self.show_take()
        self._show_live()

    def _show_live(self) -> None:
        walk, marking, units = self.walk, self._marking, self.desk.units
        live = walk.live if walk else None
        word, amount, exact = self.query_one(Word), self.query_one(Amount), self.query_one("#exact", Saying)
        if live is None or live.stale or marking is None or (told := marking.heard(live)) is None:
            stale = live is not None and live.stale
            word.show("no line" if stale else "")
            amount.show(None, units)
            exact.show("Nothing heard: what stands here is not the height now." if stale else "")
            return
        word.show(told.say.value)
        amount.show(told.by_m, units)
        shown = "" if live.above_zero_m is None else f"; probe at {height(live.above_zero_m, units)}"
        exact.show(told.words(units) + shown, "sure" if told.say.value.startswith("on ") else "plain")
        if told.bell and told.say.value.startswith("on "):
            self.desk.sounder.play(Sound.ON_GRADE)
