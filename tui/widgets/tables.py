"""Tables that are chosen from and pages of details, painted line by line."""

import time
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from textual import events

from drivers.lengths import Units
from tui.walking.distances import ago
from tui.walking.plan import judged, small
from tui.walking.said import safe, wrapped
from tui.widgets.painted import Line, Painted

if TYPE_CHECKING:
    from logger.steps.option import Option
    from tui.walking.shelf import Kept

STRONG = {"fail": "alarm", "OUTSIDE": "alarm", "warn": "strong", "within": "sure", "too close to tell": "strong"}
ROOMY = 46
LONGEST_LEAD = 14
"""A longer word stands on a line of its own."""


class Layouts(Painted):
    """One layout a line, the best first; arrow keys or a tap choose."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._options: tuple[Option, ...] = ()
        self._option: Option | None = None
        self._units = Units.METRES
        self._beside: int | None = None

    def show(
        self, options: "Sequence[Option]", option: "Option | None", units: Units, beside: int | None = None
    ) -> None:
        """Show these, with one chosen and one it is put beside."""
        self._options, self._option, self._units, self._beside = tuple(options), option, units, beside
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """Heading and as many layouts as fit around the chosen one."""
        roomy = width >= ROOMY
        head = f"  {'risers':>6} {'treads':>6} {'land.':>5} {'face':>9} "
        head += f"{'nosing':>9} {'judged'}" if roomy else "judged"
        room = max(1, height - 1)
        at = next((i for i, o in enumerate(self._options) if o is self._option), 0)
        first = max(0, min(at - room // 2, len(self._options) - room))
        shown = self._options[first : first + room]
        return [((head[:width], "soft"),), *(self._line(option, roomy, width) for option in shown)]

    def _line(self, option: "Option", roomy: bool, width: int) -> Line:
        here = option is self._option
        mark = "▸" if here else "=" if option.risers == self._beside else " "
        text = f"{mark} {option.risers:>6} {option.treads:>6} {len(option.landings):>5}"
        text += f" {small(option.face_m, self._units):>9} "
        text += f"{small(option.nosing_rise_m, self._units):>9} " if roomy else ""
        return (((text + judged(option))[:width].ljust(width), "chosen" if here else "plain"),)

    def on_click(self, event: events.Click) -> None:
        """Walk the choice to the line tapped."""
        room = max(1, self.size.height - 1)
        at = next((i for i, o in enumerate(self._options) if o is self._option), 0)
        first = max(0, min(at - room // 2, len(self._options) - room))
        wanted = first + event.y - 1
        if event.y and wanted < len(self._options):
            for _ in range(abs(wanted - at)):
                self.pick("screen.layout_down" if wanted > at else "screen.layout_up")


class Told(Painted):
    """Words and sentences below each other, page by page where they do not fit."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._pairs: tuple[tuple[str, str], ...] = ()
        self._page = 0
        self._actions: Mapping[str, str] = {}
        self._tapped: list[str] = []

    def show(self, pairs: Sequence[tuple[str, str]], actions: Mapping[str, str] | None = None) -> None:
        """Show these; the page is kept while they are the same. `actions`: what a tap on a line of that word does."""
        self._actions = actions or {}
        if tuple(pairs) != self._pairs:
            self._pairs, self._page = tuple(pairs), 0
        self.repaint()

    def turn_page(self) -> None:
        """The next page, or the first again."""
        self._page += 1
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The page, with a word on the last line where there is more."""
        every: list[Line] = []
        self._tapped = []
        for word, text in self._pairs:
            lead = safe(word, 24)
            indent = len(lead) + 3 if len(lead) <= LONGEST_LEAD else 3
            lines = wrapped(safe(text, 600), max(8, width - indent - 1))
            head: Line = ((f" {lead} ", STRONG.get(word, "soft")),) if lead else ()
            if lead and len(lead) <= LONGEST_LEAD:
                head = (*head, (f" {lines.pop(0)}", "plain"))
            every += [head] if head else []
            every += [((" " * indent + line, "plain"),) for line in lines]
            self._tapped += [self._actions.get(word, "")] * (len(every) - len(self._tapped))
        if len(every) <= height:
            return every
        room = max(1, height - 1)
        pages = -(-len(every) // room)
        page = self._page % pages
        more: Line = ((f" {page + 1} of {pages}: m or a tap turns the page", "soft"),)
        return [*every[page * room : (page + 1) * room], more]

    def on_click(self, event: events.Click) -> None:
        """A tap does what the line stands for, else it turns the page."""
        action = self._tapped[event.y] if event.y < len(self._tapped) else ""
        if action:
            self.pick(action)
        else:
            self.turn_page()


class Shelf(Painted):
    """Sessions, one a line, the one changed last first."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._sessions: list[Kept] = []
        self._at = 0

    def show(self, sessions: "Sequence[Kept]") -> None:
        """Show these; the choice stays on its file."""
        before = self.chosen
        self._sessions = list(sessions)
        paths = [kept.path for kept in self._sessions]
        self._at = paths.index(before.path) if before is not None and before.path in paths else 0
        self.repaint()

    @property
    def chosen(self) -> "Kept | None":
        """The session the keys are on."""
        return self._sessions[self._at] if self._sessions else None

    def choose(self, by: int) -> None:
        """Another one."""
        self._at = max(0, min(len(self._sessions) - 1, self._at + by))
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """As many as fit, the chosen one among them."""
        if not self._sessions:
            return [(("none", "soft"),)]
        first = self._first(height)
        return [self._line(i, width) for i in range(first, min(len(self._sessions), first + height))]

    def _first(self, height: int) -> int:
        return max(0, min(self._at - height // 2, len(self._sessions) - height))

    def _line(self, i: int, width: int) -> Line:
        kept, here = self._sessions[i], i == self._at
        what = kept.trouble or f"{kept.observations} seen, {ago(max(0.0, time.time() - kept.changed_s))}"
        what = f"RECORDING {what}" if kept.recording else what
        name, room = kept.path.stem, max(12, width - len(what) - 4)
        name = name if len(name) <= room else f"…{name[1 - room :]}"
        job = f"  {kept.job}" if kept.job and width >= ROOMY else ""
        text = f"{'▸' if here else ' '} {name}  {what}{job}"
        return ((safe_line(text, width), "chosen" if here else "plain"),)

    def on_click(self, event: events.Click) -> None:
        """Choose the one tapped; tapped again it is opened."""
        at = self._first(self.size.height) + event.y
        if at >= len(self._sessions):
            return
        if at == self._at:
            self.pick("screen.open")
        else:
            self._at = at
            self.repaint()


def safe_line(text: str, width: int) -> str:
    """Text filled up or cut to a width, its blanks kept."""
    return "".join(c if c.isprintable() else " " for c in text)[:width].ljust(width)
