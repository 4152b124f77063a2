"""The walk: live height above the zero, one key a station, the field book, the ground with the best steps so far."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container

from drivers.lengths import Units
from tui.actions import Place, bindings
from tui.messages import BestSolved, BookChanged, LinkChanged, LiveChanged
from tui.screens.ask import Ask, Choose
from tui.screens.tagging import TaggingScreen
from tui.sound import Sound
from tui.walking import entries
from tui.walking.distances import give_or_take, height
from tui.walking.doubts import doubt, warnings
from tui.walking.drafting import Drafting
from tui.walking.figures import ground_points
from tui.walking.plan import best_in_short, best_in_words
from tui.walking.standing import Row
from tui.walking.suggestion import Suggestion, suggestion, turning_point, zero_check
from tui.walking.telling import zero_named
from tui.walking.walk import Answer
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.book import Book
from tui.widgets.gauges import Gauges
from tui.widgets.hillside import Hillside
from tui.widgets.numerals import Numerals

OTHER = {
    Units.FEET_INCHES: Units.METRES,
    Units.FEET: Units.METRES,
    Units.METRES: Units.FEET_INCHES,
    Units.MILLIMETRES: Units.FEET_INCHES,
}
"""What the height is shown in too, where there is room."""
SURFACES = {
    "ground": "ground as it is",
    "dug": "dug: the bottom of the excavation",
    "base": "base: the compacted bed",
    "built": "built: the finished surface",
}


class WalkScreen(TaggingScreen):
    """Tags the ground, one station after the other."""

    CSS_PATH = "walk.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.WALK)]
    place = Place.WALK

    def __init__(self) -> None:
        super().__init__()
        self._guide: Suggestion | None = None
        self._moved_on = 0
        self._remarks: tuple[str, ...] = ()

    def body(self) -> ComposeResult:
        """Sky with the number, hillside below it."""
        with Container(id="sky"):
            yield Numerals(id="number")
            yield Gauges(id="gauges")
        yield Saying(id="exact")
        with Container(id="slope"):
            yield Book(id="book")
            yield Hillside(id="hillside")
        yield Saying(id="best")
        yield TakeBar("screen.take")
        yield Saying(id="said")

    def on_mount(self) -> None:
        """Show what is known already."""
        self._show_all()

    def on_screen_resume(self) -> None:
        """Back in front: catch up."""
        self._show_all()

    def on_live_changed(self, _: LiveChanged) -> None:
        """The instrument shows something new."""
        self._show_live()

    def on_link_changed(self, _: LinkChanged) -> None:
        """The line was lost or is back."""
        self._show_live()

    def on_book_changed(self, _: BookChanged) -> None:
        """Something was observed, struck out or saved."""
        self._show_book()

    def on_best_solved(self, _: BestSolved) -> None:
        """The best layout so far is known."""
        self._show_book()

    @property
    def next(self) -> Suggestion | None:
        """What the take key does."""
        walk = self.walk
        if self._guide is not None or walk is None or walk.standing is None:
            return self._guide
        moved_on = bool(walk.rows) and walk.rows[-1].n == self._moved_on
        return suggestion(walk.standing, walk.rows, self.desk.units, moved_on=moved_on)

    def action_take(self) -> None:
        """Take what is suggested."""
        if (wanted := self.next) is not None:
            self._tag(wanted)

    def action_force(self) -> None:
        """Take the next reading, steady or not."""
        if (wanted := self.next) is not None and wanted.tag:
            self.force(wanted.command, words=wanted.words)

    def action_turn(self) -> None:
        """First step of moving the reference end."""
        if (walk := self.walk) is not None:
            self._guide = turning_point(walk.rows)
            self.show_take()

    def action_zero(self) -> None:
        """The zero again."""
        walk = self.walk
        if walk is not None and walk.standing is not None:
            self._guide = zero_check(walk.standing, walk.rows)
            self.show_take()

    def action_type(self, key: str = "") -> None:
        """Type a station."""
        units = self.desk.units
        first = key if key.isdigit() else {"full_stop": ".", "minus": "-"}.get(key, "")
        words = entries.asks_length("Station", units)
        self._ask(
            Ask(words, first, lambda text: entries.wrong_station(text, units)),
            lambda text: self._tag(entries.station(text, units)),
        )

    def action_point(self) -> None:
        """Observe a named point."""
        self._ask(Ask("Name of the point", "", entries.wrong_name), lambda name: self._tag(entries.point(name)))

    def action_note(self) -> None:
        """Write a remark."""
        self._ask(Ask("Remark"), lambda text: self.send(f"note {text}"))

    def action_surface(self) -> None:
        """Say what the next stations are on."""
        self._ask(Choose("The next stations are on", SURFACES), lambda chosen: self.send(f"surface {chosen}"))

    def action_rod(self) -> None:
        """Say how high the stick under the probe is."""
        units = self.desk.units
        words = entries.asks_length("Height of the stick under the probe, 0 for none", units)
        ask = Ask(words, "", lambda text: entries.wrong_length(text, units))
        self._ask(ask, lambda text: self.send(f"rod {entries.with_unit(text, units)}"))

    def action_undo(self) -> None:
        """Strike out the last observation that stands."""
        walk = self.walk
        standing = [r for r in walk.rows if not r.struck] if walk else []
        if standing:
            self.strike(standing[-1].n)

    def action_row_up(self) -> None:
        """Choose the row above."""
        self.query_one(Book).choose(-1)

    def action_row_down(self) -> None:
        """Choose the row below."""
        self.query_one(Book).choose(1)

    def action_strike_row(self) -> None:
        """Strike out the chosen row."""
        row = self.query_one(Book).chosen
        if row is not None and not row.struck:
            self.strike(row.n)

    def action_stop_waiting(self) -> None:
        """End the wait, withdraw a question or a guide; after a turning point: do not move, go on."""
        walk = self.walk
        if self.waiting:
            super().action_stop_waiting()
            return
        if self._guide is None and not self._doubted and walk is not None and walk.rows:
            self._moved_on = walk.rows[-1].n
        self._guide, self._doubted = None, ""
        self.say("")
        self.show_take()

    def _tag(self, wanted: Suggestion) -> None:
        walk = self.walk
        if walk is None or self.waiting:
            self.desk.sounder.play(Sound.REFUSED)
            return
        if wanted.station_m is not None and self._doubted != wanted.command and walk.standing is not None:
            question = doubt(
                wanted.station_m, walk.live, walk.rows, surface=walk.standing.surface, units=self.desk.units
            )
            if question:
                self._doubted, self._guide = wanted.command, wanted
                self.say(f"{question} SPACE takes it, ESC does not.", "alarm")
                self.show_take()
                return
        self.send(wanted.command, words=wanted.words if wanted.tag else "")

    def answered(self, answer: Answer, words: str) -> None:
        """A guide or a question is done with once its tag was taken."""
        if answer.get("ok") and (words or answer.get("event") == "setup"):
            self._guide, self._doubted = None, ""
        self._show_book()

    def _show_all(self) -> None:
        self._show_live()
        self._show_book()

    def _show_live(self) -> None:
        walk, units = self.walk, self.desk.units
        live, standing = (walk.live, walk.now) if walk else (None, None)
        number, exact = self.query_one(Numerals), self.query_one("#exact", Saying)
        self.query_one(Gauges).show(live, standing, units)
        if live is None or standing is None:
            number.show(None, units, "" if walk is None else "no reading yet")
            exact.show(self.desk.opening_words)
            return
        stale = self._why_stale(live.age_s) if live.stale else ""
        if live.above_zero_m is None or standing.zero is None:
            number.show(live.height_m, units, stale)
            exact.show("NO ZERO YET: raw instrument height", "alarm")
            return
        number.show(live.above_zero_m, units, stale)
        unsure = give_or_take(live.above_zero_u_m, units)
        words = f"{height(live.above_zero_m, units)} above {zero_named(self.rows)}, {unsure} (95 %)"
        exact.show(f"{words} = {height(live.above_zero_m, OTHER[units])}", short=words)

    @property
    def rows(self) -> list[Row]:
        """The field book."""
        return self.walk.rows if self.walk else []

    def _why_stale(self, age_s: float) -> str:
        walk = self.walk
        link = walk.standing.link if walk and walk.standing else "lost"
        word = "STALE" if link in ("live", "stale") else f"LINK {link.upper()}"
        return f"{word}: {age_s:.0f} s old"

    def _show_book(self) -> None:
        walk, units = self.walk, self.desk.units
        if walk is None or walk.standing is None:
            return
        self.query_one(Book).show(walk.rows, units)
        self.desk.title_tabs(self)
        mark = self.next.station_m if self.next else None
        self.query_one(Hillside).show(ground_points(walk.rows), self.draft.steps, mark)
        minded = warnings(walk.standing, walk.live, walk.rows, units)
        self.set_class(bool(minded), "-minded")
        line = self.query_one("#best", Saying)
        if minded:
            line.show(minded[0], "alarm")
        else:
            words, short = self.best_words()
            line.show(words, "strong", short=short)
        self._mind_instrument(walk.standing.remarks)
        self.show_take()

    def _mind_instrument(self, remarks: tuple[str, ...]) -> None:
        """Say what the decoder says of the instrument: when it is new, and while nothing else is said."""
        if remarks and (remarks != self._remarks or not self.query_one("#said", Saying).text):
            self.say(f"Mind the instrument: {remarks[-1]}", "alarm")
        self._remarks = remarks

    @property
    def draft(self) -> Drafting:
        """What holds the layouts of the walk shown."""
        return self.desk.draft

    def best_words(self) -> tuple[str, str]:
        """The best layout so far, or why there is none; and the same for a narrow screen."""
        draft, units = self.draft, self.desk.units
        if draft.best is None:
            return "", ""
        return best_in_words(draft.best, draft.risers, units), best_in_short(draft.best, draft.risers, units)

    def show_take(self) -> None:
        """What the take key does."""
        bar, wanted = self.query_one(TakeBar), self.next
        if self.waiting:
            bar.show(f"waiting for steady: {self.waiting}", "…")
        elif wanted is None:
            bar.show("waiting for the recorder", "…")
        else:
            bar.show(f"{wanted.do} {wanted.words}".strip())
