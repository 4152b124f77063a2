"""Small screens that ask one thing at the bottom, leaving the number in view: a text, a choice, a question."""

from abc import abstractmethod
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
    """A line to type on; the app hands it its keys one by one, so that each is obeyed before the next is read."""

    def typed(self, key: events.Key) -> bool:
        """Whether a key was one for this line."""
        obeys: dict[str, Callable[[], None]] = {
            "backspace": self.action_delete_left,
            "delete": self.action_delete_right,
            "left": self.action_cursor_left,
            "right": self.action_cursor_right,
            "home": self.action_home,
            "end": self.action_end,
        }
        if key.key in obeys:
            obeys[key.key]()
        elif key.is_printable and key.character:
            self.insert_text_at_cursor(key.character)
        else:
            return False
        return True


class Answers(Horizontal):
    """What to press, which can be tapped too."""

    def __init__(self, take: str, leave: str) -> None:
        super().__init__(classes="answers")
        self._words = (take, leave)

    def compose(self) -> ComposeResult:
        """Two places to tap."""
        take, leave = self._words
        yield Link(take, "screen.take")
        yield Link(leave, "screen.leave_it")


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
    """A question; the app hands it every key, and what is typed before it stands is kept for its line or list."""

    CSS_PATH = "ask.tcss"
    AUTO_FOCUS = ""

    def __init__(self) -> None:
        super().__init__()
        self._early: list[events.Key] = []
        self._answered = False

    def typed(self, key: events.Key) -> bool:
        """Whether a key was one for this question."""
        if self.focused is not None:
            return self.obeyed(key)
        if key.key == "escape":
            return False
        self._early.append(key)
        return True

    @abstractmethod
    def obeyed(self, key: events.Key) -> bool:
        """The same once it stands."""

    def answer(self, answer: str | None) -> None:
        """Give the answer back, once."""
        if not self._answered:
            self._answered = True
            self.dismiss(answer)

    def action_leave_it(self) -> None:
        """Give no answer."""
        self.answer(None)

    def on_mount(self) -> None:
        """Obey what was typed early."""
        self.set_focus(self.query("TypedLine, OptionList").first())
        for key in self._early:
            if not self._answered:
                self.obeyed(key)


class Ask(Asking):
    """Asks for a text; `wrong` says what is wrong with it, or nothing. ESC gives None; no text too, unless `blank`."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave_it", "Do not", show=False)]

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

    def obeyed(self, key: events.Key) -> bool:
        """ENTER takes the line."""
        if key.key == "enter":
            self.action_take()
            return True
        return self.query_one(TypedLine).typed(key)

    def action_take(self) -> None:
        """Give the text back if it is right."""
        text = self.query_one(TypedLine).value.strip()
        if wrong := self._wrong(text) if text else "":
            self.query_one("#wrong", Static).update(wrong)
            self.app.bell()
        else:
            self.answer(text if text or self._blank else None)


class Choose(Asking):
    """Asks for one of several; the value is the key of the mapping. ESC gives None."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave_it", "Do not", show=False)]

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
        self.answer(selected.option_id)

    def obeyed(self, key: events.Key) -> bool:
        """Arrows go up and down, ENTER or SPACE takes the line they are on."""
        listed = self.query_one(OptionList)
        obeys = {"up": listed.action_cursor_up, "down": listed.action_cursor_down}
        obeys |= {"enter": self.action_take, "space": self.action_take}
        if key.key not in obeys:
            return False
        obeys[key.key]()
        return True

    def action_take(self) -> None:
        """Take the line the keys are on."""
        listed = self.query_one(OptionList)
        option = listed.highlighted_option
        if option is None:
            listed.action_first()
        else:
            self.answer(option.id)


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
