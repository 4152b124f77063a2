"""How good the live number is and how the walk stands: steadiness, age, link, battery, zero, last save."""

from collections.abc import Sequence

from drivers.lengths import Units
from tui.walking.distances import ago, distance, lasted
from tui.walking.said import safe
from tui.walking.standing import Live, Standing
from tui.walking.telling import clock_time
from tui.widgets.painted import Line, Painted, Span

NARROW = 50
WELL_STEADY_M = 0.002
"""Spread taken as steady for the bar where the recorder does not tell the instrument's own."""
LOW_BATTERY = 0.2


def bar(part: float, width: int) -> str:
    """A bar filled to a part of its width, with ends that show where full is."""
    inner = max(1, width - 2)
    filled = min(inner, max(0, round(part * inner)))
    return "▐" + "█" * filled + "·" * (inner - filled) + "▌"


def steadiness(live: Live, allowed_m: float | None) -> float:
    """1 where steady, else how near the spread is to what is allowed."""
    if live.steady:
        return 1.0
    return min(0.9, (allowed_m or WELL_STEADY_M) / max(live.spread_m, 1e-6))


class Gauges(Painted):
    """On a narrow place two lines, otherwise one line each."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._live: Live | None = None
        self._standing: Standing | None = None
        self._units = Units.METRES

    def show(self, live: Live | None, standing: Standing | None, units: Units) -> None:
        """Show the state of both."""
        self._live, self._standing, self._units = live, standing, units
        self.repaint()

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The gauges that fit, the most important first."""
        live, standing = self._live, self._standing
        if standing is None:
            return [(("no recorder yet", "soft"),)]
        link, battery = self._link(standing, live), self._battery(standing)
        zero, saved = self._zero(standing), self._saved(standing)
        if height < 4:
            first = [self._steady(live, 20), (" ", "plain"), self._age(live), *battery]
            second = [link, (" · zero ", "soft"), zero, (" · saved ", "soft"), saved]
            return [tuple(first), tuple(second)]
        where = f"{standing.surface} · setup {standing.setup}"
        if standing.rod_m:
            where += f" · rod {distance(standing.rod_m, self._units)}"
        return [
            (self._steady(live, min(width, 30)),),
            (("reading ", "soft"), self._age(live)),
            (("link    ", "soft"), link, *battery),
            (("zero    ", "soft"), zero),
            (("saved   ", "soft"), saved),
            (("on      ", "soft"), (where, "plain")),
            (self._instrument(standing, width),),
        ]

    def _instrument(self, standing: Standing, width: int) -> Span:
        if standing.remarks:
            return (safe(f"mind: {standing.remarks[-1]}", width), "alarm")
        return (safe(standing.instrument, width), "soft")

    def _steady(self, live: Live | None, width: int) -> Span:
        if live is None:
            return ("waiting for a reading", "soft")
        if live.stale:
            return ("nothing heard".ljust(width), "soft")
        word = "steady" if live.steady else "moving"
        allowed = self._standing.steady_spread_m if self._standing else None
        return (f"{word} {bar(steadiness(live, allowed), width - 7)}", "strong" if live.steady else "plain")

    def _age(self, live: Live | None) -> Span:
        if live is None:
            return ("none yet", "soft")
        return (ago(live.age_s), "alarm" if live.stale else "plain")

    def _link(self, standing: Standing, live: Live | None) -> Span:
        return (safe(standing.link, 12), "plain" if standing.link == "live" else "alarm")

    def _battery(self, standing: Standing) -> list[Span]:
        if standing.battery is None:
            return []
        part = standing.battery if standing.battery <= 1 else standing.battery / 100
        low = part < LOW_BATTERY
        return [(f" {'LOW ' if low else ''}battery {part * 100:.0f} %", "alarm" if low else "plain")]

    def _zero(self, standing: Standing) -> Span:
        if standing.zero is None:
            return ("none", "alarm")
        return (f"{safe(standing.zero.name, 12)} {lasted(standing.zero.age_s)}", "plain")

    def _saved(self, standing: Standing) -> Span:
        if not standing.saved:
            return ("NOT SAVED", "alarm")
        return (clock_time(standing.last_save) or "nothing yet", "plain")
