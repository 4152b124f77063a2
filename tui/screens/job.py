"""What the screens of the job share: tabs on top, keys at the bottom, and the walk they show."""

from abc import abstractmethod
from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.screen import Screen

from tui.actions import Place
from tui.messages import Picked
from tui.screens.ask import Ask, Choose
from tui.widgets.bars import KeyBar, Saying, Tabs

if TYPE_CHECKING:
    from tui.app import RisewalkApp

BREAKPOINTS: list[tuple[int, str]] | None = [(0, "-narrow"), (76, "-middle"), (110, "-wide")]
TALL: list[tuple[int, str]] | None = [(0, "-short"), (22, "-middling"), (34, "-tall")]


class Quiet(Screen[None]):
    """A screen that costs nothing while another lies over it and nothing on it changes."""

    def _compositor_refresh(self) -> None:
        """Behind a question, paint what changed through the screen in front.

        The framework's own way marks a screen behind as changed again each time, so that everything would be painted
        for ever.
        """
        front, changed = self.app.screen, self._compositor._dirty_regions
        if self is front:
            super()._compositor_refresh()
        elif changed:
            front.refresh(*changed)
            changed.clear()


class JobScreen(Quiet):
    """A screen of the job; `place` says which."""

    HORIZONTAL_BREAKPOINTS = BREAKPOINTS
    VERTICAL_BREAKPOINTS = TALL
    AUTO_FOCUS = ""
    place: ClassVar[Place]

    @property
    def tab(self) -> Place:
        """The part of the job it belongs to."""
        return self.place

    @property
    def desk(self) -> "RisewalkApp":
        """The app this screen belongs to."""
        return cast("RisewalkApp", self.app)

    def compose(self) -> ComposeResult:
        """Tabs, what the screen is for, keys."""
        yield Tabs(self.tab)
        yield from self.body()
        yield KeyBar(self.place)

    @abstractmethod
    def body(self) -> ComposeResult:
        """What the screen is for."""

    def say(self, text: str, style: str = "plain") -> None:
        """Say something on the last line, if the screen still stands."""
        for line in self.query("#said").results(Saying):
            line.show(text, style)

    async def on_picked(self, picked: Picked) -> None:
        """Do what a tapped place stands for."""
        picked.stop()
        await self.run_action(picked.action)

    def _ask(self, screen: Ask | Choose, answered: Callable[[str], object]) -> None:
        """Ask, and do something with the answer; the asking screen is in front before the next key is read."""

        def dismissed(answer: str | None) -> None:
            if answer is not None:
                answered(answer)

        self.app.push_screen(screen, dismissed)
