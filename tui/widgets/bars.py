"""Bars of words: the screens of the job on top, the take bar, what was said last, the keys at the bottom."""

from collections.abc import Sequence

from textual import events

from tui.actions import JOB, Action, Place, actions_at
from tui.walking.said import safe, wrapped
from tui.widgets.painted import Line, Painted, Tappable

ROOM_FOR_A_TITLE = 8
Places = list[tuple[int, int, str]]


class Tabs(Painted):
    """The screens in the order of the job; a tap goes there."""

    def __init__(self, here: Place) -> None:
        super().__init__()
        self._here = here
        self._title = ""
        self._spans: Places = []

    def show(self, title: str) -> None:
        """Name the job or the session."""
        self._title = safe(title, 60)
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """All screens by name where they fit, else the one in front with its number."""
        self._spans = []
        names = [f" {place} " for place in JOB]
        if sum(map(len, names)) + len(names) > width:
            at = JOB.index(self._here)
            before, here, after = " ◂ ", f" {self._here} {at + 1}/{len(JOB)} ", " ▸ "
            self._spans = [
                (0, len(before), "app.last_screen"),
                (len(before) + len(here), len(before) + len(here) + len(after), "app.next_screen"),
            ]
            rest = width - len(before + here + after)
            title = f" {safe(self._title, max(1, rest - 1))}"
            return [((before, "band"), (here, "chosen"), (after, "band"), (title.ljust(rest), "band"))]
        spans, x = [], 0
        for place, name in zip(JOB, names, strict=True):
            self._spans.append((x, x + len(name), f"app.go('{place.value}')"))
            spans += [(name, "chosen" if place is self._here else "band"), (" ", "band")]
            x += len(name) + 1
        rest = width - x
        title = safe(self._title, max(1, rest - 1)) if rest > ROOM_FOR_A_TITLE else ""
        return [(*spans, (title.rjust(rest - 1) + " ", "band"))]

    def on_click(self, event: events.Click) -> None:
        """Go to the screen tapped."""
        for start, end, action in self._spans:
            if start <= event.x < end:
                self.pick(action)


class KeyBar(Painted):
    """As many keys as fit, help always among them; a tap does what the key does."""

    def __init__(self, place: Place) -> None:
        super().__init__()
        self._place = place
        self._spans: Places = []

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """Key and word, side by side."""
        actions = [a for a in actions_at(self._place) if a.on_bar]
        last = [a for a in actions if a.name == "explain"]
        chosen: list[Action] = []
        for action in (a for a in actions if a.name != "explain"):
            if sum(len(self._text(a)) for a in [*chosen, action, *last]) <= width:
                chosen.append(action)
        spans, x, self._spans = [], 0, []
        for action in [*chosen, *last]:
            text = self._text(action)
            self._spans.append((x, x + len(text), action.target))
            spans += [(f" {action.key_shown} ", "key"), (f"{action.label} ", "plain")]
            x += len(text)
        return [tuple(spans)]

    def _text(self, action: Action) -> str:
        return f" {action.key_shown} {action.label} "

    def on_click(self, event: events.Click) -> None:
        """Do what was tapped."""
        for start, end, action in self._spans:
            if start <= event.x < end:
                self.pick(action)


class TakeBar(Tappable):
    """What the take key does next, in one tappable bar."""

    def __init__(self, action: str, key: str = "SPACE") -> None:
        super().__init__()
        self.action = action
        self._key = key
        self._words = ""

    def show(self, words: str, key: str = "SPACE") -> None:
        """Say what it does."""
        self._words, self._key = safe(words), key
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The key and what it does, over the whole width."""
        text = f" {self._key} ▸ {self._words}"
        filled: Line = ((text[:width].ljust(width), "chosen"),)
        blank: Line = ((" " * width, "chosen"),)
        return [filled] if height < 3 else [blank, filled, blank]


class Saying(Painted):
    """What was said last, wrapped; alarming words are on a dark ground."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._text = self._short = ""
        self._style = "plain"

    def show(self, text: str, style: str = "plain", *, short: str = "") -> None:
        """Say it; `short` is said where it does not fit."""
        self._text, self._style, self._short = safe(text, 400), style, short
        self.repaint()

    @property
    def text(self) -> str:
        """What it says."""
        return self._text

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The text in as many lines as there are."""
        lines = wrapped(self._text, width - 2)
        if len(lines) > height and self._short:
            lines = wrapped(self._short, width - 2)
        if len(lines) > height:
            lines = [*lines[: height - 1], safe(" ".join(lines[height - 1 :]), max(1, width - 2))]
        return [((f" {line} ", self._style if line else "plain"),) for line in lines]
