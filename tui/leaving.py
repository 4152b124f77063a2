"""Leaving when the terminal is gone or nobody reads it: the framework waits for its writes then, and would for ever."""

import contextlib
import os
import select
import signal
import sys
import termios
import threading
import time

PATIENCE_S = 0.8
LEAVES_WITHIN_S = 1.8
LOOKS_EVERY_S = 0.05


def leave_for_sure(number: int) -> None:
    """Let the process end within two seconds of this signal, whatever it waits for.

    Called after the event loop has its own handler: the loop still hears the signal, through its wake-up descriptor.
    """
    signal.signal(number, lambda *_: _watch(number))


def _watch(number: int) -> None:
    threading.Thread(target=_see_off, args=(number,), name="leaving", daemon=True).start()


def _see_off(number: int) -> None:
    """Drop what a stuck terminal has not read, so that its last words fit in; then end."""
    began_s = time.monotonic()
    while (passed_s := time.monotonic() - began_s) < LEAVES_WITHIN_S:
        time.sleep(LOOKS_EVERY_S)
        if passed_s > PATIENCE_S and sys.__stderr__ is not None:
            with contextlib.suppress(OSError, ValueError, termios.error):
                if not select.select([], [sys.__stderr__], [], 0)[1]:
                    termios.tcflush(sys.__stderr__.fileno(), termios.TCOFLUSH)
    os._exit(128 + number)
