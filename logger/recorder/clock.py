"""Session time: microseconds since the session began, on a clock that no one sets and that counts sleep."""

import sys
import time
from collections.abc import Callable

from logger.session.store import FIRST_US, LAST_US

MICRO = 1_000_000
AT_ONCE_S = 0.05


COUNTS_SLEEP = {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC"}
STANDS_STILL = {"linux": "CLOCK_MONOTONIC", "darwin": "CLOCK_UPTIME_RAW"}
"""Names of clocks in `time`, by system; none of them is ever set."""


def steady_s() -> float:
    """Seconds on a clock that never goes back; where the system has one, of the kind that counts sleep."""
    return _read(COUNTS_SLEEP)


def _read(names: dict[str, str]) -> float:
    name = names.get(sys.platform)
    return time.monotonic() if name is None else time.clock_gettime(getattr(time, name))


def utc_us() -> int:
    """The system's UTC in microseconds since 1970; people and networks set it, so it orders nothing."""
    return time.time_ns() // 1000


def slept_s() -> float:
    """Seconds the machine has slept since whenever: only what it grows by says something.

    Of two clocks of which one counts sleep; on a system without such a pair, of the time of day and the steady clock.
    A program that was merely not run for a while, on a busy machine, does not show in it.
    """
    counting = steady_s if sys.platform in COUNTS_SLEEP else time.time
    while True:
        before_s = _read(STANDS_STILL)
        counted_s = counting()
        after_s = _read(STANDS_STILL)
        if after_s - before_s < AT_ONCE_S:  # else the program was not run between the two
            return counted_s - after_s


class SessionClock:
    """Turns the steady clock into session time, going on from where an earlier recorder stopped."""

    def __init__(
        self,
        steady: Callable[[], float] = steady_s,
        utc: Callable[[], int] = utc_us,
        slept: Callable[[], float] = slept_s,
    ) -> None:
        self.steady = steady
        self._utc = utc
        self._slept = slept
        self._start_s = steady()
        self._base_us = 0
        self._last_us = 0

    def go_on(self, last: tuple[int, int] | None) -> None:
        """Go on from the last event (UTC, session time): by the UTC passed since, never back."""
        if last is not None:
            passed_us = max(0, self.at_us() - last[0])
            self._base_us = last[1] + passed_us - round((self.steady() - self._start_s) * MICRO)
            self._last_us = last[1]

    def at_us(self) -> int:
        """UTC now, as far as a calendar goes: a clock set beyond it must not cost a reading."""
        return min(max(self._utc(), FIRST_US), LAST_US)

    def now_us(self) -> int:
        """Session time now."""
        return self.session_us(self.steady())

    def slept_us(self) -> int:
        """How long the machine has slept; only what it grows by says something."""
        return round(self._slept() * MICRO)

    def session_us(self, steady_s: float) -> int:
        """Session time of a moment on the steady clock; never before one given earlier."""
        self._last_us = max(self._last_us, self._base_us + round((steady_s - self._start_s) * MICRO))
        return self._last_us
