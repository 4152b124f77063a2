"""The ground of our widgets: lines of styled spans; only the lines that changed are painted again."""

from abc import abstractmethod
from collections.abc import Sequence
from typing import ClassVar

from rich.segment import Segment
from textual import events
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tui.messages import Picked

Span = tuple[str, str]
"""A text and the name of its style: plain, strong, soft, alarm, sure, earth, line, key, chosen, band."""
Line = tuple[Span, ...]
STYLES = ("plain", "strong", "soft", "alarm", "sure", "earth", "line", "over", "key", "chosen", "struck", "band")


class Painted(Widget):
    """A widget whose `lines` say what it looks like at a size; call `repaint` when its state changed."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"painted--{name}" for name in STYLES}
    DEFAULT_CSS = """
    Painted {
        & > .painted--plain { color: $ink; }
        & > .painted--strong { color: $ink; text-style: bold; }
        & > .painted--soft { color: $soft; }
        & > .painted--alarm { color: $paper; background: $alarm; text-style: bold; }
        & > .painted--sure { color: $sure; text-style: bold; }
        & > .painted--earth { color: $earth; }
        & > .painted--line { color: $ink; text-style: bold; }
        & > .painted--over { color: $paper; background: $earth; text-style: bold; }
        & > .painted--key { color: $line; text-style: bold; }
        & > .painted--chosen { color: $paper; background: $ink; text-style: bold; }
        & > .painted--struck { color: $soft; text-style: strike; }
        & > .painted--band { color: $ink; background: $band; }
    }
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes)
        self._painted: list[Line] = []

    @abstractmethod
    def lines(self, width: int, height: int) -> Sequence[Line]:
        """What to paint; fewer lines than the height leave the rest empty."""

    def repaint(self) -> None:
        """Compare with what is painted, and paint the lines that differ."""
        width, height = self.size
        if not width or not height or not self.is_attached:
            return
        wanted = list(self.lines(width, height))[:height]
        for y in range(max(len(wanted), len(self._painted))):
            if wanted[y : y + 1] != self._painted[y : y + 1]:
                self.refresh(Region(0, y, width, 1))
        self._painted = wanted

    def render_line(self, y: int) -> Strip:
        """One line as the compositor wants it."""
        width = self.size.width
        spans = self._painted[y] if y < len(self._painted) else ()
        segments = [Segment(text, self.get_component_rich_style(f"painted--{style}")) for text, style in spans]
        return Strip(segments).adjust_cell_length(width, self.rich_style)

    def on_resize(self) -> None:
        """The same state at another size."""
        self._painted = []
        self.repaint()
        self.refresh()

    def notify_style_update(self) -> None:
        """A theme was changed: everything is painted anew."""
        super().notify_style_update()
        self._painted = []
        self.repaint()

    def pick(self, action: str) -> None:
        """Tell that a place standing for an action was tapped."""
        self.post_message(Picked(action))


class Tappable(Painted):
    """A painted widget that stands for one action as a whole."""

    action = ""

    def on_click(self, event: events.Click) -> None:
        """It was tapped."""
        event.stop()
        if self.action:
            self.pick(self.action)
