"""Check: the finished steps walked again, place by place, with the verdict as it forms."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from logger.guidance import Level
from tui.actions import Place, bindings
from tui.messages import BestSolved, BuiltChecked
from tui.screens.ask import Ask
from tui.screens.marks import MarkingScreen
from tui.walking import entries
from tui.walking.distances import height
from tui.walking.plan import small
from tui.walking.suggestion import Suggestion
from tui.walking.verdict import verdict_lines, verdict_of
from tui.walking.walk import Answer
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.guidance import Marks
from tui.widgets.numerals import Numerals
from tui.widgets.tables import Told


class CheckScreen(MarkingScreen):
    """Observes the built steps and judges them."""

    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.CHECK)]
    place = Place.CHECK
    level = Level.FINISHED

    def __init__(self) -> None:
        super().__init__()
        self._skipped_foot = False
        self._verdict = ""

    def body(self) -> ComposeResult:
        """Place, live number, places, verdict."""
        yield Saying(id="target")
        yield Numerals(id="amount")
        yield Saying(id="exact")
        yield Marks(id="places")
        yield Told(id="verdicts")
        yield Saying(id="progress")
        yield TakeBar("screen.take")
        yield Saying(id="said")

    def on_mount(self) -> None:
        """Judge what is there."""
        self.desk.draft.ask_check()

    def on_best_solved(self, _: BestSolved) -> None:
        """Another layout to check against."""
        self.desk.draft.ask_check()

    def on_built_checked(self, checked: BuiltChecked) -> None:
        """The verdict so far."""
        result, units = checked.checked.result, self.desk.units
        pairs = verdict_lines(result, units) if result else [("not yet", checked.checked.trouble)]
        self._verdict = verdict_of(result)
        self.query_one(Told).show(pairs)
        self.show_live()

    @property
    def wanted(self) -> Suggestion | None:
        """What the take key does: the walk below the steps before the first place."""
        wanted = super().wanted
        if wanted is not None and wanted.words == self.where() and self._foot_first():
            return Suggestion(f"point {self._foot()}", f"point {self._foot()}: walk below riser 1")
        return wanted

    def go(self, by: int) -> None:
        """Another place; the walk below the steps can be passed over."""
        if by > 0 and self._foot_first():
            self._skipped_foot = True
            self.show_all()
        else:
            super().go(by)

    def action_face(self) -> None:
        """A face measured with tape and spirit level."""
        self._by_tape("face", "Face of riser {}, by tape and spirit level")

    def action_depth(self) -> None:
        """A depth measured with a tape."""
        self._by_tape("tread", "Depth behind riser {}, by tape, nosing to nosing")

    def _by_tape(self, word: str, asks: str) -> None:
        target, units = self.target, self.desk.units
        if target is None:
            return
        words = entries.asks_length(asks.format(target.riser), units)
        ask = Ask(words, "", lambda text: entries.wrong_length(text, units))
        self._ask(ask, lambda text: self.send(f"{word} {target.riser} {entries.with_unit(text, units)}"))

    def action_undo(self) -> None:
        """Strike out the last observation of a built step."""
        rows = self.walk.rows if self.walk else []
        last = next((r for r in reversed(rows) if (r.kind == "built" or r.taped) and not r.struck), None)
        if last is not None:
            self.strike(last.n)

    def action_scroll_details(self) -> None:
        """More of the verdict."""
        self.query_one(Told).turn_page()

    def answered(self, answer: Answer, words: str) -> None:
        """A place was observed: judge again, and on to the next."""
        super().answered(answer, words)
        self.desk.draft.ask_check()

    def _foot(self) -> str:
        """Name of the walk below; without it the face of the first riser cannot be judged."""
        from logger.built_heights import FOOT_NAME

        best = self.desk.draft.best
        return (best.brief.steps.foot if best and best.brief else "") or FOOT_NAME

    def _foot_first(self) -> bool:
        rows = self.walk.rows if self.walk else []
        known = any(r.name == self._foot() and not r.struck for r in rows)
        return not known and not self._skipped_foot and not any(r.kind == "built" for r in rows)

    def show_book(self) -> None:
        """The place in front, and how many are done."""
        target, line = self.target, self.query_one("#target", Saying)
        if target is None:
            line.show(self.desk.draft.no_marks, "alarm")
        else:
            designed = height(target.height_m, self.desk.units)
            line.show(f"riser {target.riser} {target.place}: designed {designed}", "strong")
        self.query_one("#progress", Saying).show(self.progress())

    def show_live(self) -> None:
        """The height under the probe, and how far it is from the design."""
        walk, target, units = self.walk, self.target, self.desk.units
        live = walk.live if walk else None
        number, exact = self.query_one(Numerals), self.query_one("#exact", Saying)
        if live is None or live.above_zero_m is None:
            number.show(None, units, "no height above the zero yet")
            exact.show("")
            return
        number.show(live.above_zero_m, units, f"STALE: {live.age_s:.0f} s old" if live.stale else "")
        if target is not None and not self._foot_first():
            off = live.above_zero_m - target.height_m
            away = f"{small(abs(off), units)} {'above' if off > 0 else 'below'} the design. "
            exact.show(away + (f"So far: {self._verdict}" if self._verdict else ""))
        else:
            exact.show("")
