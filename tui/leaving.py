"""Leaving when the terminal is gone or nobody reads it: the framework waits for its writes then, and would for ever.

A signal may come to any thread of a process, and one that comes to another does not wake a main thread that waits.
So all threads hold these signals off, and one of its own waits for them.
"""

import contextlib
import os
import select
import signal
import sys
import termios
import threading
import time
from collections.abc import Callable

ASKS = (signal.SIGTERM, signal.SIGHUP)
"""What asks the screen to leave."""
PATIENCE_S = 0.8
LEAVES_WITHIN_S = 1.8
LOOKS_EVERY_S = 0.05


def hold_off() -> None:
    """Keep the signals from this thread and all that it starts; call it before there are others."""
    signal.pthread_sigmask(signal.SIG_BLOCK, ASKS)


def leave_for_sure(leave: Callable[[], object]) -> None:
    """Wait beside the program for such a signal; then call `leave`, and end in two seconds whatever it waits for."""
    threading.Thread(target=_see_off, args=(leave,), name="leaving", daemon=True).start()


def _see_off(leave: Callable[[], object]) -> None:
    """Drop what a stuck terminal has not read, so that its last words fit in; then end."""
    number = signal.sigwait(ASKS)
    began_s = time.monotonic()
    with contextlib.suppress(RuntimeError):  # its loop has ended already
        leave()
    while (passed_s := time.monotonic() - began_s) < LEAVES_WITHIN_S:
        time.sleep(LOOKS_EVERY_S)
        if passed_s > PATIENCE_S and sys.__stderr__ is not None:
            with contextlib.suppress(OSError, ValueError, termios.error):
                if not select.select([], [sys.__stderr__], [], 0)[1]:
                    termios.tcflush(sys.__stderr__.fileno(), termios.TCOFLUSH)
    os._exit(128 + number)
