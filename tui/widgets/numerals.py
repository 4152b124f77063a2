"""The live height in large numerals."""

from collections.abc import Sequence

from drivers.lengths import Units
from tui.walking.distances import height
from tui.widgets.glyphs import drawn
from tui.widgets.painted import Line, Painted

NOTHING = "-"
NO_SIGN = "\N{FIGURE SPACE}"
"""Keeps the place of a sign, so that figures around the zero do not jump."""


class Numerals(Painted):
    """A height above the zero, as large as its place allows; stale ones are hollowed out and framed by words."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._value_m: float | None = None
        self._units = Units.METRES
        self._stale = ""

    def show(self, value_m: float | None, units: Units, stale: str = "") -> None:
        """Show a height; `stale` says in a few words why it is not the height now."""
        self._value_m, self._units, self._stale = value_m, units, stale
        self.repaint()

    @property
    def text(self) -> str:
        """What the numerals say."""
        return NOTHING if self._value_m is None else height(self._value_m, self._units)

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The numerals; a stale height is hatched, with the reason across its middle."""
        text = self.text if self.text[0] in "+-" else f"{NO_SIGN}{self.text}"
        rows = drawn(text, width - 2, height) or [self.text[:width]]
        if not self._stale:
            return [((f" {row}", "strong"),) for row in rows]
        hatch = str.maketrans("█▀▄", "░░░")
        hollow: list[Line] = [((f" {row.translate(hatch)}", "soft"),) for row in rows]
        hollow[len(hollow) // 2] = ((f" {self._stale} "[:width], "alarm"),)
        return hollow
