"""A recorded walk on the walk's own screen: run, pause, step from tag to tag, faster and slower."""

from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType

from tui.actions import Place, bindings
from tui.messages import BestSolved, BookChanged, LinkChanged, LiveChanged
from tui.screens.walk import WalkScreen
from tui.walking.best import Best
from tui.walking.drafting import Drafting
from tui.walking.replayed import Replayed
from tui.walking.telling import clock_time
from tui.walking.walk import Heard, Walk
from tui.widgets.bars import TakeBar

PAINT_S = 0.1


class ReplayScreen(WalkScreen):
    """Shows a session again; nothing can be observed here."""

    CSS_PATH = "walk.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.REPLAY)]
    inherit_bindings = False
    place = Place.REPLAY

    def __init__(self, path: Path) -> None:
        super().__init__()
        self._path = path
        self._again: Walk | None = None
        self._changed = False
        self._draft = Drafting(self._solved, lambda _: None)

    @property
    def tab(self) -> Place:
        """It lies over the sessions."""
        return Place.SESSIONS

    @property
    def walk(self) -> Walk | None:
        """The walk of the past."""
        return self._again

    @property
    def replayed(self) -> Replayed:
        """What plays it."""
        assert self._again is not None
        assert isinstance(self._again.line, Replayed)
        return self._again.line

    def on_mount(self) -> None:
        """Begin to play."""
        line = Replayed(self._path)
        self._again = Walk(line, self._heard, clock=lambda: line.now_s)
        self.run_worker(self._again.attend(), exit_on_error=False)
        self.set_interval(PAINT_S, self._paint)
        self._show_all()

    async def on_unmount(self) -> None:
        """Stop playing."""
        self._draft.end()
        if self._again is not None:
            await self._again.line.close()

    def action_pause(self) -> None:
        """Stop, or go on."""
        self.replayed.pause()
        self.show_take()

    def action_step(self) -> None:
        """To the next thing observed."""
        self.replayed.step()
        self.show_take()

    def action_faster(self) -> None:
        """The next speed up."""
        self.replayed.faster(1)
        self.show_take()

    def action_slower(self) -> None:
        """The next speed down."""
        self.replayed.faster(-1)
        self.show_take()

    def action_back(self) -> None:
        """Back to the sessions."""
        self.dismiss()

    @property
    def draft(self) -> Drafting:
        """What the walk of the past would have been shown, with the brief as it is now."""
        return self._draft

    def on_best_solved(self, solved: BestSolved) -> None:
        """A layout: of the walk of the past, or of the one that goes on meanwhile."""
        if solved.best.question.until_us is not None:
            self._draft.keep(solved.best)

    def best_words(self) -> tuple[str, str]:
        """How far it has come, and the best layout by then."""
        count = len(self._again.rows) if self._again else 0
        words, short = super().best_words()
        told = f"{count} observed. "
        return f"REPLAY of {self._path.name}: {told}{words}".rstrip(), f"REPLAY: {told}{short}".rstrip()

    def show_take(self) -> None:
        """What the key does to the replay."""
        if self._again is None:
            return
        played = self.replayed
        does = f"go on from {clock_time(played.at)}" if played.paused else f"pause: playing {played.speed:g} times"
        self.query_one(TakeBar).show("the end; b goes back" if played.ended else does, "SPACE")

    def _heard(self, heard: Heard) -> None:
        match heard:
            case Heard.READING:
                self._changed = True
            case Heard.LINK:
                self.post_message(LinkChanged())
            case _:
                self._book_changed()

    def _solved(self, best: Best) -> None:
        self.post_message(BestSolved(best))

    def _book_changed(self) -> None:
        again = self._again
        if again is None or again.standing is None:
            return
        standing = again.standing
        if self._draft.wanted is None:
            if self.desk.walk is None:
                self.desk.units = standing.units
            self._draft.begin(self._path, None, standing.units)
        self._draft.observed(standing.observations, standing.struck, round(self.replayed.now_s * 1e6))
        self.post_message(BookChanged())

    def _paint(self) -> None:
        if self._changed:
            self._changed = False
            self.post_message(LiveChanged())
