"""Small screens that ask one thing at the bottom, leaving the number in view: a text, a choice, a question."""

from collections.abc import Callable, Mapping
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option


class TypedLine(Input):
    """A line to type on. Keys that edit are obeyed in the order typed, also when many come at once over a slow line."""

    AT_ONCE: ClassVar = {
        "backspace": "delete_left",
        "delete": "delete_right",
        "left": "cursor_left",
        "right": "cursor_right",
        "home": "home",
        "end": "end",
        "enter": "submit",
    }

    async def _on_key(self, event: events.Key) -> None:
        """The framework obeys such keys only after all that were typed behind them."""
        if (action := self.AT_ONCE.get(event.key)) is None:
            await super()._on_key(event)
            return
        event.stop()
        event.prevent_default()
        await self.run_action(action)


class Answers(Horizontal):
    """What to press, which can be tapped too."""

    def __init__(self, take: str, leave: str) -> None:
        super().__init__(classes="answers")
        self._words = (take, leave)

    def compose(self) -> ComposeResult:
        """Two places to tap."""
        take, leave = self._words
        yield Link(take, "screen.take")
        yield Link(leave, "screen.dismiss(None)")


class Link(Static):
    """Words that stand for an action."""

    def __init__(self, words: str, action: str) -> None:
        super().__init__(f" {words} ", markup=False)
        self._action = action

    async def on_click(self, event: events.Click) -> None:
        """Do it."""
        event.stop()
        await self.screen.run_action(self._action)


class Asking(ModalScreen[str | None]):
    """A question that what is typed early reaches too: keys pressed before it stands are kept for its line or list."""

    CSS_PATH = "ask.tcss"
    AUTO_FOCUS = ""

    def __init__(self) -> None:
        super().__init__()
        self._early: list[events.Key] = []

    def on_key(self, event: events.Key) -> None:
        """Nothing has the focus yet."""
        if self.focused is None:
            event.stop()
            self._early.append(event)

    def on_mount(self) -> None:
        """Hand over what was typed, in its order."""
        answering = self.query("TypedLine, OptionList").first()
        self.set_focus(answering)
        for key in self._early:
            answering.post_message(events.Key(key.key, key.character))


class Ask(Asking):
    """Asks for a text; `wrong` says what is wrong with it, or nothing. ESC gives None; no text too, unless `blank`."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Do not", show=False)]

    def __init__(
        self, words: str, first: str = "", wrong: Callable[[str], str] = lambda _: "", *, blank: bool = False
    ) -> None:
        super().__init__()
        self._blank = blank
        self._words, self._first, self._wrong = words, first, wrong

    def compose(self) -> ComposeResult:
        """The question, the line to type on, what is wrong."""
        with Vertical(id="asked"):
            yield Static(self._words, markup=False, id="words")
            yield TypedLine(self._first, select_on_focus=False, max_length=200)
            yield Static("", markup=False, id="wrong")
            yield Answers("ENTER takes it", "ESC does not")

    def on_input_submitted(self, submitted: Input.Submitted) -> None:
        """Give the text back if it is right."""
        self._take(submitted.value)

    def action_take(self) -> None:
        """The same by a tap."""
        self._take(self.query_one(Input).value)

    def _take(self, typed: str) -> None:
        text = typed.strip()
        if wrong := self._wrong(text) if text else "":
            self.query_one("#wrong", Static).update(wrong)
            self.app.bell()
        else:
            self.dismiss(text if text or self._blank else None)


class Choose(Asking):
    """Asks for one of several; the value is the key of the mapping. ESC gives None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Do not", show=False),
        Binding("space", "take", "Take it", show=False),
    ]

    def __init__(self, words: str, choices: Mapping[str, str]) -> None:
        super().__init__()
        self._words, self._choices = words, dict(choices)

    def compose(self) -> ComposeResult:
        """The question and the choices."""
        with Vertical(id="asked"):
            yield Static(self._words, markup=False, id="words")
            yield OptionList(*(Option(words, id=key) for key, words in self._choices.items()), markup=False)
            yield Answers("ENTER takes it", "ESC does not")

    def on_option_list_option_selected(self, selected: OptionList.OptionSelected) -> None:
        """Give the choice back."""
        self.dismiss(selected.option_id)

    def action_take(self) -> None:
        """Take the line the keys are on."""
        self.query_one(OptionList).action_select()


class Told(ModalScreen[bool]):
    """Says something longer and waits for a key: ENTER or SPACE goes on, ESC goes back."""

    CSS_PATH = "ask.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(False)", "Back", show=False),
        Binding("enter,space", "dismiss(True)", "Go on", show=False),
    ]

    def __init__(self, words: str, lines: list[str], go_on: str = "ENTER goes on") -> None:
        super().__init__()
        self._words, self._lines, self._go_on = words, lines, go_on

    def compose(self) -> ComposeResult:
        """Heading, lines, what to press."""
        with Vertical(id="asked"):
            yield Static(self._words, markup=False, id="words")
            yield Static("\n".join(self._lines), markup=False, id="told")
            yield Static(self._go_on, markup=False, id="wrong")

    def on_click(self) -> None:
        """A tap goes on."""
        self.dismiss(True)
