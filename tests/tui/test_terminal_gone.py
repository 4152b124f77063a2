"""The terminal vanishes, or is there and nobody reads it: the screen is gone within seconds all the same."""

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

import pytest

from tui.leaving import LEAVES_WITHIN_S

PATIENCE_S = 20.0
WORDS = [sys.executable, "-m", "tui.cli", "walk"]
REPAINTS = 40
"""Of a whole screen: far more than a terminal that is not read takes."""


def read(master: int, within_s: float) -> bytes:
    """What comes within this time, empty where nothing does or the terminal is closed."""
    try:
        return os.read(master, 65536) if select.select([master], [], [], within_s)[0] else b""
    except OSError:
        return b""


def ended_within(pid: int, within_s: float) -> int | None:
    """The exit code of our child, None while it still runs."""
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    return None


@pytest.mark.parametrize("vanishes", [True, False], ids=["vanished", "not read"])
def test_the_screen_ends_when_its_terminal_takes_no_more(tmp_path: Path, *, vanishes: bool) -> None:
    pid, master = pty.fork()
    if not pid:
        os.chdir(tmp_path)
        os.execvpe(sys.executable, WORDS, {**os.environ, "TERM": "xterm-256color"})
    code: int | None = None
    try:
        fcntl.ioctl(master, termios.TIOCSWINSZ, struct.pack("HHHH", 60, 200, 0, 0))
        seen, deadline = b"", time.monotonic() + PATIENCE_S
        while b"choose a port" not in seen:
            assert time.monotonic() < deadline, seen[-400:]
            seen += read(master, 0.1)
        for _ in range(REPAINTS):
            os.write(master, b"d")
            time.sleep(0.02)
        if vanishes:
            os.close(master)
        else:
            os.kill(pid, signal.SIGTERM)
        code = ended_within(pid, LEAVES_WITHIN_S + PATIENCE_S)
        assert code is not None, "it never ended"
    finally:
        if code is None:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
        if not vanishes:
            os.close(master)
