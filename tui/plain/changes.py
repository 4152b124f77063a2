"""What the instrument shows, told only when it changes: steady, moving, stale, lost, live again."""

from collections.abc import Callable
from enum import StrEnum

from drivers.lengths import Units
from logger.observation import COVERAGE
from tui.walking.distances import give_or_take, height, lasted
from tui.walking.said import safe
from tui.walking.standing import Live, Standing

HOLDS_S = 0.7
"""A change of state is told once it has held for so long, so that words do not flicker."""


class State(StrEnum):
    """What can be said of the reading, one word each."""

    NOTHING = "nothing"
    STEADY = "steady"
    MOVING = "moving"
    STALE = "stale"
    LOST = "lost"


DOWN = (State.STALE, State.LOST)
LINKS_UP = ("live", "stale", "")


def state_of(live: Live | None, link: str) -> State:
    """The state of a reading on a link."""
    if link not in LINKS_UP:
        return State.LOST
    if live is None:
        return State.NOTHING
    if live.stale:
        return State.STALE
    return State.STEADY if live.steady else State.MOVING


class Changes:
    """Remembers what was told; `look` says what is new. It reads no clock but the one it is given."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._told = State.NOTHING
        self._seen, self._since_s = State.NOTHING, clock()
        self._told_m: float | None = None

    def look(self, live: Live | None, standing: Standing, units: Units) -> str:
        """One line about what changed, empty where nothing did."""
        state, now_s = state_of(live, standing.link), self._clock()
        if state is not self._seen:
            self._seen, self._since_s = state, now_s
        moved = state is State.STEADY and live is not None and self._far(live)
        if state is self._told and not moved:
            return ""
        if now_s - self._since_s < HOLDS_S and state is not State.LOST:
            return ""
        before, self._told = self._told, state
        if state is State.STEADY and live is not None:
            self._told_m = live.height_m
        again = "Live again. " if before in DOWN and state not in DOWN else ""
        return again + _line(state, live, standing, units)

    def _far(self, live: Live) -> bool:
        """Whether a height that stayed steady all along has crept away from what was told."""
        return self._told_m is not None and abs(live.height_m - self._told_m) > max(0.002, 2 * COVERAGE * live.u_m)


def _line(state: State, live: Live | None, standing: Standing, units: Units) -> str:
    match state:
        case State.STEADY if live is not None:
            return f"Steady {height_words(live, standing, units)}."
        case State.MOVING:
            return "Moving."
        case State.STALE if live is not None:
            return f"Stale: the last reading is {lasted(live.age_s)} old."
        case State.LOST:
            return f"Lost: {safe(standing.why) or 'the line to the instrument is down'}. Waiting for it."
        case _:
            return "Nothing heard from the instrument yet."


def height_words(live: Live, standing: Standing, units: Units) -> str:
    """A height as it is said: above the zero with ± at 95 %, or that there is no zero."""
    if live.above_zero_m is None or standing.zero is None:
        return f"{height(live.height_m, units)}, as the instrument shows it: no zero yet"
    unsure = give_or_take(live.above_zero_u_m, units)
    return f"{height(live.above_zero_m, units)} above {safe(standing.zero.name, 24)}, {unsure}"
