"""Live guidance: the word to act on in block letters, how much in large numerals, the marks one by one."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual import events

from drivers.lengths import Units
from tui.walking.distances import distance, height
from tui.walking.plan import small
from tui.widgets.glyphs import drawn
from tui.widgets.lettering import lettered
from tui.widgets.painted import Line, Painted

if TYPE_CHECKING:
    from tui.walking.marking import Marking

SHORT = {
    "up the slope": "uphill",
    "down the slope": "go down",
    "check the zero": "zero",
    "hold still": "hold",
    "ground crossing": "crossing",
}
"""Words shortened to what block letters can hold on forty columns."""


class Word(Painted):
    """One word in block letters."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._word = ""

    def show(self, word: str) -> None:
        """Show it."""
        self._word = SHORT.get(word, word)
        self.repaint()

    @property
    def text(self) -> str:
        """What it says."""
        return self._word

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The letters, or the plain word where they do not fit."""
        rows = lettered(self._word, width - 2, height) or [self._word.upper()]
        style = "sure" if self._word.startswith("on ") else "strong"
        return [((f" {row}", style),) for row in rows]


class Amount(Painted):
    """How much there is to go."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._value_m: float | None = None
        self._units = Units.METRES

    def show(self, value_m: float | None, units: Units) -> None:
        """Show a length without sign; None leaves the place empty."""
        self._value_m, self._units = value_m, units
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The numerals."""
        if self._value_m is None:
            return []
        text = small(self._value_m, self._units)
        return [((f" {row}", "strong"),) for row in drawn(text, width - 2, height) or [text]]


class Marks(Painted):
    """The marks around the one worked on; taken ones say so."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._marks: list[tuple[str, bool]] = []
        self._at = 0

    def show(self, marking: "Marking | None", units: Units) -> None:
        """Show these marks."""
        self._marks = []
        if marking is not None:
            self._at = marking.at
            for target in marking.targets:
                taken = marking.key(target) in marking.taken
                name = f"{'✓' if taken else ' '}{target.riser:>3} {target.place:<6}"
                where = f"{height(target.height_m, units):>14} {distance(marking.tape_m(target), units):>13}"
                self._marks.append((f"{name}{where}{' taken' if taken else ''}", taken))
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """As many as fit, the one worked on among them."""
        if not self._marks:
            return []
        first = self._first(height)
        shown = enumerate(self._marks[first : first + height], first)
        return [
            (((f"{'▸' if i == self._at else ' '}{text}")[:width], "chosen" if i == self._at else "plain"),)
            for i, (text, _) in shown
        ]

    def _first(self, height: int) -> int:
        return max(0, min(self._at - height // 2, len(self._marks) - height))

    def on_click(self, event: events.Click) -> None:
        """Go to the mark tapped."""
        wanted = self._first(self.size.height) + event.y
        if wanted < len(self._marks):
            for _ in range(abs(wanted - self._at)):
                self.pick("screen.next_mark" if wanted > self._at else "screen.last_mark")
