"""Terminals of sixteen colours or none: all that is painted is brought down to ink on paper."""

import os

from rich.color import Color as RichColour
from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.filter import LineFilter

HALF = 0.35
"""Brightness that parts light grounds from dark ones; both themes keep well away from it."""
CONSOLE = str.maketrans("▸◂✓▼…━▁▂▃▅▆▇▔", "><*v.─▄▄▄▄███")
"""Marks that the font of the Linux console does not have, and what stands for them there."""
INK, PAPER = RichColour.parse("black"), RichColour.parse("bright_white")


class Sober(LineFilter):
    """Paints in black and white where there are sixteen colours; without colours it turns darker grounds round."""

    def __init__(self, *, colours: bool, dark: bool) -> None:
        super().__init__()
        self._colours, self._dark = colours, dark
        self._marks = CONSOLE if os.environ.get("TERM") == "linux" else {}

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """The same text in what the terminal can show."""
        return [
            Segment(
                text.translate(self._marks), None if style is None else self._brought_down(style, background), control
            )
            for text, style, control in segments
        ]

    def _brought_down(self, style: Style, background: Color) -> Style:
        ground = background if style.bgcolor is None else Color.from_rich_color(style.bgcolor)
        light = ground.brightness > HALF
        ink, paper = (INK, PAPER) if light else (PAPER, INK)
        return Style(
            color=ink if self._colours else None,
            bgcolor=paper if self._colours else None,
            reverse=not self._colours and light is self._dark,
            bold=style.bold,
            underline=style.underline,
            strike=style.strike,
        )
