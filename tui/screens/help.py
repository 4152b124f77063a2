"""All keys of a screen, made from the table of actions; a tap on a line does what it says."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from tui.actions import Action, Place, actions_at, keys_shown


class Line(Static):
    """One action; a tap does it."""

    def __init__(self, words: str, action: Action, classes: str) -> None:
        super().__init__(words, markup=False, classes=classes)
        self._action = action

    def on_click(self, event: events.Click) -> None:
        """Go back and do it."""
        event.stop()
        self.screen.dismiss(self._action)


class Help(ModalScreen[Action | None]):
    """Key and meaning, one action a line; any of ESC, ENTER, SPACE, ? goes back, a tapped action is given back."""

    CSS_PATH = "help.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,space,question_mark,q", "dismiss", "Back", show=False, priority=True)
    ]

    def __init__(self, place: Place) -> None:
        super().__init__()
        self._place = place

    def compose(self) -> ComposeResult:
        """The list."""
        with VerticalScroll():
            yield Static(f"Keys: {self._place}     ESC goes back", markup=False, id="heading")
            for action in actions_at(self._place):
                yield Line(keys_shown(action), action, "key")
                yield Line(action.does, action, "does")

    def on_click(self) -> None:
        """A tap beside the actions goes back."""
        self.dismiss(None)
