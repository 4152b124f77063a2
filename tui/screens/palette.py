"""The command palette: every action of the screen in front, and every screen, found by its words."""

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.events import Key
from textual.fuzzy import Matcher
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from tui.actions import JOB, Place, actions_at
from tui.screens.ask import Answers, Choose, TypedLine

NOTHING = "nothing is called that"


def commands_at(place: Place) -> dict[str, str]:
    """What can be done on a screen: the action, and what it does, with key and label as on the key bar."""
    screens = {f"app.go('{to.value}')": f"Go to {to}" for to in JOB if to is not place}
    here = (a for a in actions_at(place) if a.name != "command_palette")
    return screens | {a.target: f"{a.does}  ({a.key_shown} {a.label})" for a in here}


class Palette(Choose):
    """Asks for an action by words typed; the answer is the action as the framework calls it."""

    def __init__(self, place: Place) -> None:
        super().__init__("What to do? Type its words.", commands_at(place))
        self._typed = ""

    def compose(self) -> ComposeResult:
        """The question, the line to type on, what fits it."""
        with Vertical(id="asked"):
            yield Static(self._words, markup=False, id="words")
            yield TypedLine(select_on_focus=False, max_length=200)
            yield OptionList(*(Option(words, id=key) for key, words in self._choices.items()), markup=False)
            yield Static("", markup=False, id="wrong")
            yield Answers("ENTER does it", "ESC does not")

    def obeyed(self, key: Key) -> bool:
        """Arrows and ENTER are for the list, all else is typed."""
        if key.key != "space" and super().obeyed(key):
            return True
        typed = self.query_one(TypedLine).typed(key)
        self._narrow()
        return typed

    def on_input_changed(self, _: Input.Changed) -> None:
        """What was pasted counts too."""
        self._narrow()

    def _narrow(self) -> None:
        """List what fits the words, the best first."""
        typed, listed = self.query_one(TypedLine).value.strip(), self.query_one(OptionList)
        if typed == self._typed:
            return
        self._typed, match = typed, Matcher(typed).match
        found = [(match(words) if typed else 1.0, words, key) for key, words in self._choices.items()]
        found = sorted((each for each in found if each[0] > 0), key=lambda each: -each[0])
        listed.set_options(Option(words, id=key) for _, words, key in found)
        listed.highlighted = 0 if found else None
        self.query_one("#wrong", Static).update("" if found else NOTHING)
