"""The steps: every layout that can be, best first, drawn over the ground; why the others cannot; the brief in place."""

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container

from logger.errors import CannotWrite
from tui.actions import Place, bindings
from tui.messages import BestSolved, BookChanged
from tui.screens.ask import Ask, Choose
from tui.screens.job import JobScreen
from tui.walking import plan
from tui.walking.figures import Point, ground_points
from tui.walking.said import safe
from tui.walking.wanted import CHOICES, FIELDS
from tui.widgets.bars import Saying
from tui.widgets.hillside import Hillside
from tui.widgets.tables import Layouts, Told

if TYPE_CHECKING:
    from logger.steps.option import Option

FINDINGS, WHY_NOT, COMPARE = "findings", "why not", "compare"
ASKS_THE_TOP = "At the top, do you step up onto something already there? o answers it."
WHY = "Why not how many risers? ENTER alone: every count that cannot be"


class StepsScreen(JobScreen):
    """Chooses the layout and edits what is wanted."""

    CSS_PATH = "steps.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.STEPS)]
    place = Place.STEPS

    def __init__(self) -> None:
        super().__init__()
        self._shows = FINDINGS
        self._beside: int | None = None
        self._count: int | None = None

    def body(self) -> ComposeResult:
        """Sentence, measures, drawing, layouts, details."""
        yield Saying(id="sentence")
        yield Saying(id="measures")
        yield Hillside(id="hillside")
        with Container(id="lower"):
            yield Layouts(id="layouts")
            yield Told(id="details")
        yield Saying(id="said")

    def on_mount(self) -> None:
        """Show what is solved already, and solve what is not."""
        self.desk.draft.explain = None
        self._show()
        self.desk.draft.ask()

    def on_screen_resume(self) -> None:
        """Back in front."""
        self._show()

    def on_book_changed(self, _: BookChanged) -> None:
        """Another station, or units."""
        self._show()

    def on_best_solved(self, _: BestSolved) -> None:
        """Layouts are there."""
        self._show()

    @property
    def option(self) -> "Option | None":
        """The layout chosen."""
        return self.desk.draft.option

    def action_layout_up(self) -> None:
        """The layout ranked before."""
        self._choose(-1)

    def action_layout_down(self) -> None:
        """The layout ranked after."""
        self._choose(1)

    def action_why_not(self) -> None:
        """Why a count is where it is or cannot be; again: the findings of the chosen one."""
        if self._shows == WHY_NOT:
            self._shows, self.desk.draft.explain = FINDINGS, None
            self._show()
        elif self.desk.draft.best is not None:
            self._ask(Ask(WHY, "", _no_count, blank=True), self._explain)

    def _explain(self, count: str) -> None:
        draft = self.desk.draft
        self._shows, self._beside = WHY_NOT, None
        self._count = draft.explain = int(count) if count else None
        if plan.lacks_mends(draft.best, self._count):
            self.say("Working out what would do …")
            draft.ask()
        self._show()

    def action_compare(self) -> None:
        """Put the chosen layout beside the next, and then beside each one chosen; again: end it."""
        best, option = self.desk.draft.best, self.option
        if self._shows == COMPARE:
            self._shows, self._beside = FINDINGS, None
            self._show()
        elif option is not None and best is not None and best.options is not None and len(best.options.options) > 1:
            self._shows, self._beside = COMPARE, option.risers
            self.say(f"{option.risers} risers on the left; choose what stands on the right. c ends it.")
            self._choose(-1 if option is best.options.options[-1] else 1)

    def action_scroll_details(self) -> None:
        """More of the details."""
        self.query_one(Told).turn_page()

    def action_edit(self) -> None:
        """Choose a field of the brief, then write it."""
        wanted = self.desk.draft.wanted
        if wanted is None:
            return
        choices = {f.place: f"{f.asks}: {wanted.text(f.place) or f.without}" for f in FIELDS}
        self._ask(Choose("What is wanted: choose a line, ENTER changes it", choices), self._edit_field)

    def action_top(self) -> None:
        """The question on which the count of treads hangs."""
        self._edit_field("steps.top")

    def action_keep(self) -> None:
        """Write the brief to its file."""
        wanted = self.desk.draft.wanted
        if wanted is None:
            return
        try:
            wanted.keep()
        except CannotWrite as error:
            self.say(str(error), "alarm")
        else:
            self.say(f"The brief is kept in {wanted.path}", "sure")

    def _edit_field(self, place: str) -> None:
        wanted = self.desk.draft.wanted
        if wanted is None:
            return
        field = next(f for f in FIELDS if f.place == place)
        asks = f"{field.asks} (empty: {field.without})"
        line = Ask(asks, wanted.text(place), lambda text: wanted.wrong(place, text), blank=True)
        question = Choose(field.asks, CHOICES[place]) if place in CHOICES else line

        def written(text: str) -> None:
            wanted.write(place, text)
            self.desk.draft.risers = None
            self.say("Working it out …")
            self.desk.draft.ask()

        self._ask(question, written)

    def _choose(self, by: int) -> None:
        best, option = self.desk.draft.best, self.option
        if best is None or best.options is None or option is None:
            return
        every = best.options.options
        at = max(0, min(len(every) - 1, every.index(option) + by))
        self.desk.draft.risers = every[at].risers
        self._show()

    def _show(self) -> None:
        best, option, units = self.desk.draft.best, self.option, self.desk.units
        self.desk.title_tabs(self)
        sentence, said = self.query_one("#sentence", Saying), self.query_one("#said", Saying)
        self.query_one(Hillside).show(self._ground(), self.desk.draft.steps)
        if said.text.startswith("Working") and self.desk.draft.answered:
            said.show("")
        if best is None or option is None:
            sentence.show("Nothing to lay steps on yet." if best is None else plan.why_none(best), "alarm")
            self.query_one("#measures", Saying).show("")
            self.query_one(Layouts).show((), None, units)
            self.query_one(Told).show(plan.refusals(best) if best else [])
            return
        sentence.show(plan.sentence(best, option), "strong")
        words = " · ".join(f"{name} {value}" for name, value in plan.measures(best, option, units))
        self.query_one("#measures", Saying).show(words)
        assert best.options is not None
        self.query_one(Layouts).show(best.options.options, option, units, self._beside)
        self.query_one(Told).show(self._details(option))
        wanted = self.desk.draft.wanted
        if not said.text and wanted is not None and not wanted.text("steps.top"):
            said.show(ASKS_THE_TOP, "strong")

    def _ground(self) -> list[Point]:
        return self.desk.draft.ground or (ground_points(self.desk.walk.rows) if self.desk.walk else [])

    def _details(self, option: "Option") -> list[tuple[str, str]]:
        best, units = self.desk.draft.best, self.desk.units
        assert best is not None
        if self._shows == WHY_NOT:
            return plan.why_not(best, self._count)
        if self._shows == COMPARE and (beside := plan.chosen(best, self._beside)) is not None:
            return plan.compared(best, beside, option, units)
        assert best.options is not None
        notes = [("note", safe(note)) for note in best.options.notes]
        found = plan.findings(option)
        pressing = [pair for pair in found if pair[0] in ("fail", "warn")]
        order = ("order", best.options.ranking or "best first")
        return [*pressing, order, *(pair for pair in found if pair not in pressing), *notes]


def _no_count(text: str) -> str:
    return "" if text.isdecimal() and 0 < int(text) < 1000 else "a whole number of risers, such as 9"
