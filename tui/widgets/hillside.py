"""The section on the screen: the ground observed so far and the steps over it."""

from collections.abc import Sequence

from tui.widgets.painted import Line, Painted
from tui.widgets.silhouette import Point, frame_of, section


class Hillside(Painted):
    """Ground and steps, as large as the place allows."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._ground: tuple[Point, ...] = ()
        self._steps: tuple[Point, ...] = ()
        self._mark_m: float | None = None

    def show(self, ground: Sequence[Point], steps: Sequence[Point] = (), mark_m: float | None = None) -> None:
        """Draw this ground, these steps, and point at a station."""
        self._ground, self._steps, self._mark_m = tuple(ground), tuple(steps), mark_m
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The drawing, or words where there is nothing to draw yet."""
        if len(self._ground) < 2:
            return [(("ground: from two stations on"[:width], "soft"),)]
        ahead = [] if self._mark_m is None else [(self._mark_m, self._ground[-1][1])]
        frame = frame_of([*self._ground, *self._steps, *ahead], width, height)
        return section(frame, self._ground, self._steps, self._mark_m)
