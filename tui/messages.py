"""What happened, told to the screen in front; always in the past tense, and nothing is asked by them."""

from textual.message import Message

from tui.walking.best import Best
from tui.walking.verdict import Checked


class LiveChanged(Message):
    """The instrument shows something new, or the last reading grew older; at most ten a second."""


class BookChanged(Message):
    """Status or field book changed."""


class LinkChanged(Message):
    """The line to the instrument changed its state."""


class RecorderGone(Message):
    """The recorder ended or was lost; it may be another client that ended the session."""


class BestSolved(Message, bubble=False):
    """The best layout of what was observed so far was worked out."""

    def __init__(self, best: Best) -> None:
        super().__init__()
        self.best = best


class BuiltChecked(Message, bubble=False):
    """What was built so far was judged against the layout."""

    def __init__(self, checked: Checked) -> None:
        super().__init__()
        self.checked = checked


class Picked(Message):
    """A place on the screen was clicked or tapped that stands for an action."""

    def __init__(self, action: str) -> None:
        super().__init__()
        self.action = action
