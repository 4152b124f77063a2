"""All keys of a screen, made from the table of actions."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from tui.actions import Place, actions_at, shown_key


class Help(ModalScreen[None]):
    """Key and meaning, one action a line; any of ESC, ENTER, SPACE, ? goes back."""

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
                keys = " ".join(shown_key(k) for k in action.keys[:3])
                yield Static(keys, markup=False, classes="key")
                yield Static(action.does, markup=False, classes="does")

    def on_click(self) -> None:
        """A tap goes back."""
        self.dismiss()
