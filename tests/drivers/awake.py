"""A stopwatch for promises of speed that a busy machine cannot break: it stands still while we wait for a processor."""

import time
from pathlib import Path

SCHEDULED = Path("/proc/self/schedstat")
"""Of the main thread: nanoseconds run, nanoseconds ready to run and not let, turns (Linux, sched-stats)."""


def kept_waiting_s() -> float:
    """Seconds the main thread was ready and had no processor; 0 where the system does not tell."""
    return int(SCHEDULED.read_text().split()[1]) / 1e9 if SCHEDULED.exists() else 0.0


class Awake:
    """Seconds since it was made, less those in which others had the processor."""

    def __init__(self) -> None:
        self._since_s = time.monotonic() - kept_waiting_s()

    @property
    def seconds(self) -> float:
        """How long it has been, as on a machine of our own."""
        return time.monotonic() - kept_waiting_s() - self._since_s
