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
ROOMY = 60


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
    """The marks around the one worked on; taken ones say how far off they were found."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._marking: Marking | None = None
        self._units = Units.METRES

    def show(self, marking: "Marking | None", units: Units) -> None:
        """Show these marks."""
        self._marking, self._units = marking, units
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """As many as fit, the one worked on among them."""
        marking = self._marking
        if marking is None:
            return []
        first = self._first(height)
        return [
            (((self._line(marking, i, width))[:width], "chosen" if i == marking.at else "plain"),)
            for i in range(first, min(len(marking.targets), first + height))
        ]

    def _line(self, marking: "Marking", i: int, width: int) -> str:
        target, units = marking.targets[i], self._units
        row = marking.taken(target)
        text = f"{'▸' if i == marking.at else ' '}{'✓' if row else ' '}{target.riser:>3} {target.place:<6}"
        text += f" {height(target.height_m, units):>14}"
        tape = f" {distance(marking.tape_m(target), units):>13}"
        if width >= ROOMY or (row is None and len(text + tape) <= width):  # a cut number is another number
            text += tape
        if row is not None:
            off = row.above_zero_m - target.height_m
            how = small(abs(off), units)
            text += f"  taken, {how} {'high' if off > 0 else 'low'}" if how != small(0.0, units) else "  taken, exact"
        return text

    def _first(self, height: int) -> int:
        marking = self._marking
        return 0 if marking is None else max(0, min(marking.at - height // 2, len(marking.targets) - height))

    def on_click(self, event: events.Click) -> None:
        """Go to the mark tapped."""
        wanted, marking = self._first(self.size.height) + event.y, self._marking
        if marking is not None and wanted < len(marking.targets):
            for _ in range(abs(wanted - marking.at)):
                self.pick("screen.next_mark" if wanted > marking.at else "screen.last_mark")
