"""Check: the finished steps walked again, place by place, with the verdict as it forms."""

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from logger.errors import RiseError
from logger.guidance import Level
from tui.actions import Place, bindings
from tui.messages import BestSolved, BookChanged, BuiltChecked, LinkChanged, LiveChanged
from tui.screens.ask import Ask
from tui.screens.tagging import TaggingScreen
from tui.walking import entries, plan
from tui.walking.distances import height
from tui.walking.plan import small
from tui.walking.suggestion import Suggestion, zero_check
from tui.walking.verdict import verdict_lines
from tui.walking.walk import Answer
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.numerals import Numerals
from tui.widgets.tables import Told

if TYPE_CHECKING:
    from tui.walking.marking import Marking


class CheckScreen(TaggingScreen):
    """Observes the built steps and judges them."""

    CSS_PATH = "setout.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.CHECK)]
    place = Place.CHECK

    def __init__(self) -> None:
        super().__init__()
        self._marking: Marking | None = None
        self._option: object = None
        self._doubted = 0
        self._skipped_foot = False
        self._why_not = "No layout to check against yet: walk the ground, then look at the steps."

    def body(self) -> ComposeResult:
        """Place, live number, verdict."""
        yield Saying(id="target")
        yield Numerals(id="amount")
        yield Saying(id="exact")
        yield Told(id="verdicts")
        yield Saying(id="progress")
        yield TakeBar("screen.take")
        yield Saying(id="said")

    def on_mount(self) -> None:
        """Show what is known already."""
        self._show()
        self.desk.ask_check()

    def on_screen_resume(self) -> None:
        """Back in front."""
        self._show()

    def on_live_changed(self, _: LiveChanged) -> None:
        """The instrument shows something new."""
        self._show_live()

    def on_link_changed(self, _: LinkChanged) -> None:
        """The line was lost or is back."""
        self._show_live()

    def on_book_changed(self, _: BookChanged) -> None:
        """Something was observed, struck out or renamed."""
        self._show()

    def on_best_solved(self, _: BestSolved) -> None:
        """Another layout to check against."""
        self._show()
        self.desk.ask_check()

    def on_built_checked(self, checked: BuiltChecked) -> None:
        """The verdict so far."""
        result, units = checked.checked.result, self.desk.units
        pairs = verdict_lines(result, units) if result else [("not yet", checked.checked.trouble)]
        self.query_one(Told).show(pairs)

    def action_take(self) -> None:
        """Observe the place in front."""
        if (wanted := self._next()) is not None and not self.waiting:
            self.send(wanted.command, words=wanted.words)

    def action_force(self) -> None:
        """The same without waiting for steady."""
        if (wanted := self._next()) is not None:
            self.force(wanted.command, wanted.words)

    def action_next_place(self) -> None:
        """The next place."""
        if self._foot_first():
            self._skipped_foot = True
        elif self._marking is not None:
            self._marking.go(1)
        self._show()

    def action_last_place(self) -> None:
        """The place before."""
        if self._marking is not None:
            self._marking.go(-1)
            self._show()

    def action_face(self) -> None:
        """A face measured with tape and spirit level."""
        target, units = (self._marking.target if self._marking else None), self.desk.units
        if target is None:
            return
        asks = f"Face of riser {target.riser}, by tape and spirit level"
        ask = Ask(asks, "", lambda text: entries.wrong_length(text, units))
        self._ask(ask, lambda text: self.send(f"face {target.riser} {entries.with_unit(text, units)}"))

    def action_undo(self) -> None:
        """Strike out the last observation of a built step."""
        rows = self.walk.rows if self.walk else []
        last = next((r for r in reversed(rows) if (r.kind == "built" or r.taped) and not r.struck), None)
        if last is None:
            return
        if self._doubted != last.n:
            self._doubted = last.n
            self.say(f"Strike out no. {last.n}, riser {last.riser} {last.place}? The same key again does.", "alarm")
        else:
            self._doubted = 0
            self.send(f"strike {last.n}")

    def action_scroll_details(self) -> None:
        """More of the verdict."""
        self.query_one(Told).turn_page()

    def answered(self, answer: Answer, words: str) -> None:
        """A place was observed: judge again, and on to the next."""
        marking = self._marking
        if answer.get("ok") and marking is not None and marking.target is not None and answer.get("kind") == "built":
            marking.taken.add(marking.key(marking.target))
            marking.forward()
        self._show()
        self.desk.ask_check()

    def show_take(self) -> None:
        """What the take key does."""
        bar, wanted = self.query_one(TakeBar), self._next()
        if self.waiting:
            bar.show(f"waiting for steady: {self.waiting}", "…")
        elif wanted is None:
            bar.show(self._why_not, "…")
        else:
            bar.show(f"{wanted.do} {wanted.words}".strip())

    def _next(self) -> Suggestion | None:
        walk, marking = self.walk, self._marking
        if walk is None or walk.standing is None:
            return None
        if walk.standing.needs_zero:
            return zero_check(walk.standing, walk.rows)
        if marking is None or marking.target is None:
            return None
        if self._foot_first():
            return Suggestion(f"point {self._foot()}", f"point {self._foot()}: walk below riser 1")
        target = marking.target
        return Suggestion(marking.lines(target)[0], f"built riser {target.riser} {target.place}")

    def _foot(self) -> str:
        """Name of the walk below; without it the face of the first riser cannot be judged."""
        from logger.built_heights import FOOT_NAME

        best = self.desk.best
        return (best.brief.steps.foot if best and best.brief else "") or FOOT_NAME

    def _foot_first(self) -> bool:
        rows = self.walk.rows if self.walk else []
        known = any(r.name == self._foot() and not r.struck for r in rows)
        return not known and not self._skipped_foot and not any(r.kind == "built" for r in rows)

    def _renew(self) -> None:
        from tui.walking.marking import Marking

        best, option = self.desk.best, plan.chosen(self.desk.best, self.desk.risers)
        if option is None or best is None or best.profile is None or best.brief is None:
            self._marking = self._option = None
            return
        if option == self._option:
            return
        self._option = option
        try:
            self._marking = Marking.of(best.profile, option, best.brief)
        except RiseError as error:
            self._marking, self._why_not = None, str(error)
            return
        if self.walk is not None:
            self._marking.read(self.walk.rows)
        self._marking.choose_level(Level.FINISHED)

    def _show(self) -> None:
        self._renew()
        self.desk.title_tabs(self)
        marking, walk, units = self._marking, self.walk, self.desk.units
        line, progress = self.query_one("#target", Saying), self.query_one("#progress", Saying)
        if marking is None or marking.target is None or walk is None:
            line.show(self._why_not, "alarm")
            progress.show("")
        else:
            marking.read(walk.rows)
            target = marking.target
            line.show(f"riser {target.riser} {target.place}: designed {height(target.height_m, units)}", "strong")
            done = sum(marking.key(t) in marking.taken for t in marking.targets)
            progress.show(f"{done} of {len(marking.targets)} places observed")
        self.show_take()
        self._show_live()

    def _show_live(self) -> None:
        walk, marking, units = self.walk, self._marking, self.desk.units
        live = walk.live if walk else None
        number, exact = self.query_one(Numerals), self.query_one("#exact", Saying)
        if live is None or live.above_zero_m is None:
            number.show(None, units, "no height above the zero yet")
            exact.show("")
            return
        number.show(live.above_zero_m, units, f"STALE: {live.age_s:.0f} s old" if live.stale else "")
        if marking is not None and marking.target is not None and not self._foot_first():
            off = live.above_zero_m - marking.target.height_m
            exact.show(f"{small(abs(off), units)} {'above' if off > 0 else 'below'} the design")
        else:
            exact.show("")
