"""Set out: the probe at a mark, one large word what to do, how much in large numerals, the next mark by one key."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from tui.actions import Place, bindings
from tui.screens.marks import MarkingScreen
from tui.sound import Sound
from tui.walking.distances import distance, height
from tui.walking.marking import TAKEN_AGAIN
from tui.walking.walk import Answer
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.guidance import Amount, Marks, Word


class SetOutScreen(MarkingScreen):
    """Live guidance from mark to mark."""

    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.SET_OUT)]
    place = Place.SET_OUT

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

    def answered(self, answer: Answer, words: str) -> None:
        """A mark was taken: what stood there before the work was moved is struck out, or heights would not agree."""
        moved = []
        if answer.get("event") == "observed" and self.marking is not None and self.walk is not None:
            self.marking.read(self.walk.rows)
            moved = self.marking.moved()
        super().answered(answer, words)
        if moved:
            self.send(*(f"strike {row.n} # {TAKEN_AGAIN}" for row in moved))

    def action_level(self) -> None:
        """Work to the next height that the brief gives."""
        if self.marking is not None:
            self.marking.next_level()
            self.show_all()

    def show_book(self) -> None:
        """The mark in front, and how many are done."""
        marking, target, units = self.marking, self.target, self.desk.units
        line = self.query_one("#target", Saying)
        if marking is None or target is None:
            line.show(self.desk.draft.no_marks, "alarm")
        else:
            tape = distance(marking.tape_m(target), units)
            line.show(f"{self.where()} {height(target.height_m, units)}, tape {tape}", "strong")
        self.query_one("#progress", Saying).show(self.progress())

    def show_live(self) -> None:
        """What to do for this reading."""
        walk, marking, units = self.walk, self.marking, self.desk.units
        live = walk.live if walk else None
        word, amount, exact = self.query_one(Word), self.query_one(Amount), self.query_one("#exact", Saying)
        if live is None or live.stale or marking is None or (told := marking.heard(live)) is None:
            stale = live is not None and live.stale
            word.show("no line" if stale else "")
            amount.show(None, units)
            exact.show("Nothing heard: what stands here is not the height now." if stale else "", "alarm")
            return
        word.show(told.say.value)
        amount.show(told.by_m, units)
        shown = "" if live.above_zero_m is None else f"; probe at {height(live.above_zero_m, units)}"
        exact.show(told.words(units) + shown, "sure" if told.say.value.startswith("on ") else "plain")
        if told.bell and told.say.value.startswith("on "):
            self.desk.sounder.play(Sound.ON_GRADE)
