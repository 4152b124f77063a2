"""Leaving when the terminal is gone or nobody reads it: the framework waits for its writes then, and would for ever."""

import contextlib
import os
import signal
import sys
import termios
import threading
import time

PATIENCE_S = 1.0
LEAVES_WITHIN_S = 2.0
LOOKS_EVERY_S = 0.05


def leave_for_sure(number: int) -> None:
    """Let the process end within two seconds of this signal, whatever it waits for.

    Called after the event loop has its own handler: the loop still hears the signal, through its wake-up descriptor.
    """
    signal.signal(number, lambda *_: _watch(number))


def _watch(number: int) -> None:
    threading.Thread(target=_see_off, args=(number,), name="leaving", daemon=True).start()


def _see_off(number: int) -> None:
    """Drop what the terminal has not read, so that its last words fit in; then end."""
    began_s = time.monotonic()
    while (passed_s := time.monotonic() - began_s) < LEAVES_WITHIN_S:
        time.sleep(LOOKS_EVERY_S)
        if passed_s > PATIENCE_S:
            with contextlib.suppress(OSError, ValueError, termios.error):
                termios.tcflush(sys.__stderr__.fileno() if sys.__stderr__ else 2, termios.TCOFLUSH)
    os._exit(128 + number)
