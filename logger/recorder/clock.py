"""Session time: microseconds since the session began, on a clock that no one sets and that counts sleep."""

import time
from collections.abc import Callable

MICRO = 1_000_000


def steady_s() -> float:
    """Seconds on a clock that never goes back; where the system has one, of the kind that counts sleep."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


def utc_us() -> int:
    """The system's UTC in microseconds since 1970; people and networks set it, so it orders nothing."""
    return time.time_ns() // 1000


class SessionClock:
    """Turns the steady clock into session time, going on from where an earlier recorder stopped."""

    def __init__(self, steady: Callable[[], float] = steady_s, utc: Callable[[], int] = utc_us) -> None:
        self.steady = steady
        self._utc = utc
        self._start_s = steady()
        self._base_us = 0
        self._last_us = 0

    def go_on(self, last: tuple[int, int] | None) -> None:
        """Go on from the last event (UTC, session time): by the UTC passed since, never back."""
        if last is not None:
            passed_us = max(0, self._utc() - last[0])
            self._base_us = last[1] + passed_us - round((self.steady() - self._start_s) * MICRO)
            self._last_us = last[1]

    def at_us(self) -> int:
        """UTC now."""
        return self._utc()

    def now_us(self) -> int:
        """Session time now."""
        return self.session_us(self.steady())

    def session_us(self, steady_s: float) -> int:
        """Session time of a moment on the steady clock; never before one given earlier."""
        self._last_us = max(self._last_us, self._base_us + round((steady_s - self._start_s) * MICRO))
        return self._last_us
