"""The field book on the screen: the latest observations at the bottom, struck ones struck through and said to be."""

from collections.abc import Sequence

from textual import events

from drivers.lengths import Units
from tui.walking.distances import distance, give_or_take, height
from tui.walking.said import safe
from tui.walking.standing import Row
from tui.walking.telling import called, remark
from tui.widgets.painted import Line, Painted

SHOWN_ROWS = 50
PLACES = ("base", "built")


class Book(Painted):
    """The last rows; arrow keys or a tap choose one."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._rows: list[Row] = []
        self._units = Units.METRES
        self._chosen: int | None = None

    def show(self, rows: Sequence[Row], units: Units) -> None:
        """Show these rows."""
        self._rows, self._units = list(rows[-SHOWN_ROWS:]), units
        if self._chosen is not None and not any(r.n == self._chosen for r in self._rows):
            self._chosen = None
        self.repaint()

    @property
    def chosen(self) -> Row | None:
        """The row the keys are on, if any."""
        return next((r for r in self._rows if r.n == self._chosen), None)

    def choose(self, by: int) -> None:
        """Move the choice up or down; below the last nothing is chosen."""
        numbers = [r.n for r in self._rows]
        if not numbers:
            return
        at = numbers.index(self._chosen) if self._chosen in numbers else len(numbers)
        at = max(0, at + by)
        self._chosen = numbers[at] if at < len(numbers) else None
        self.repaint()

    def on_click(self, event: events.Click) -> None:
        """Choose the row tapped."""
        shown = self._window(self.size.height)
        at = event.y - (self.size.height - len(shown))
        if 0 <= at < len(shown):
            self._chosen = shown[at].n
            self.repaint()

    def _window(self, height: int) -> list[Row]:
        numbers = [r.n for r in self._rows]
        end = len(self._rows)
        if self._chosen in numbers:
            end = min(end, max(numbers.index(self._chosen) + 1 + height // 2, height))
        return self._rows[max(0, end - height) : end]

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """One line a row, the latest at the bottom."""
        shown = self._window(height)
        if not shown:
            return [(("nothing observed yet", "soft"),)]
        return [()] * (height - len(shown)) + [self._line(row, width) for row in shown]

    def _line(self, row: Row, width: int) -> Line:
        units = self._units
        if row.taped:
            value, unsure = distance(row.height_m, units), ""
        else:
            value, unsure = height(row.above_zero_m, units), give_or_take(row.above_zero_u_m, units)
        tall = 14 if units is Units.FEET_INCHES else 10
        room = max(6, min(18, width - tall - 14))
        text = f"{row.n:>3} {safe(called(row, units), room):<{room}} {value:>{tall}}"
        more = ", ".join(part for part in (unsure, remark(row, units)) if part)
        mark = "▸" if row.n == self._chosen else " "
        style = "chosen" if row.n == self._chosen else "struck" if row.struck else "plain"
        struck = " struck" if row.struck and width < 44 else ""
        room = width - 2 - len(text + struck)
        return (
            (mark, "strong"),
            (f"{text}{struck}"[: width - 1], style),
            (f" {safe(more, room)}" if room > 3 and more else "", "soft"),
        )
