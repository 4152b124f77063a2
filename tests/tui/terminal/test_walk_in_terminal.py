"""`risewalk walk` itself, in a terminal, driven by keys, on the virtual level and with the real recorder behind it."""

import asyncio
import os
import signal
import subprocess
import sys
import time

import pytest
from tmux_terminal import LEFT, begun, end, is_whole, of_session, screens, silent_port, until

QUITS_WITHIN_S = 2.0


def test_a_zero_and_a_station_by_keys_then_the_session_is_ended(terminal, session, level) -> None:
    begun(terminal, session, level)
    assert terminal.full_screen
    terminal.keys("q")
    terminal.shows("Leave the screen?")
    terminal.keys("Down", "Enter")
    terminal.is_as_before(0)
    assert "The session is saved and closed." in terminal.shown
    until(lambda: not of_session(session))
    is_whole(session, 2)


@pytest.mark.slow
def test_whatever_ends_the_screen_leaves_the_recorder_and_the_terminal_whole(terminal, session, level) -> None:
    begun(terminal, session, level)
    recorder = set(of_session(session)) - set(screens(session))
    assert len(recorder) == 1
    for number in (signal.SIGTERM, signal.SIGHUP):
        (screen,) = screens(session)
        os.kill(screen, number)
        terminal.is_as_before(0)
        assert set(of_session(session)) == recorder
        terminal("send-keys", "-R", "clear", "Enter")
        until(lambda: LEFT not in terminal.shown)
        terminal.walk(session, level.port)
        terminal.shows("   2 0 m ")
    terminal.keys("C-c")
    terminal.shows("Leave the screen?")
    terminal.keys("Enter")
    terminal.is_as_before(0)
    assert "The recorder goes on." in terminal.shown
    assert set(of_session(session)) == recorder
    assert asyncio.run(end(session))
    until(lambda: not of_session(session))
    is_whole(session, 2)


@pytest.mark.slow
def test_the_terminal_is_closed_and_the_recorder_goes_on(terminal, session, level) -> None:
    begun(terminal, session, level)
    recorder = set(of_session(session)) - set(screens(session))
    terminal("kill-server")
    until(lambda: set(of_session(session)) == recorder, lambda: of_session(session))
    assert asyncio.run(end(session))
    until(lambda: not of_session(session))
    is_whole(session, 2)


def test_quitting_takes_no_longer_on_a_silent_port(terminal, session) -> None:
    with silent_port() as port:
        terminal.walk(session, port)
        until(lambda: terminal.full_screen, lambda: terminal.shown)
        terminal.shows("Looking for the recorder")
        terminal.keys("q")
        asked = time.monotonic()
        until(lambda: LEFT in terminal.shown or "Leave the screen?" in terminal.shown, lambda: terminal.shown)
        if LEFT not in terminal.shown:
            terminal.keys("Enter")
        until(lambda: LEFT in terminal.shown, lambda: terminal.shown)
        assert time.monotonic() - asked < QUITS_WITHIN_S
        terminal.is_as_before(0)
        for pid in of_session(session):
            os.kill(pid, signal.SIGTERM)


def test_a_port_that_is_not_there_is_said_whole(terminal, session) -> None:
    terminal.walk(session, "/dev/no-such-port-anywhere")
    terminal.shows("The session could not be opened")
    record = [sys.executable, "-m", "tui.cli", "record", "other.walk", "--port", "/dev/no-such-port-anywhere"]
    words = [*record, "--instrument", "ascii-lines"]
    said = subprocess.run(words, cwd=session.parent, capture_output=True, text=True, timeout=60).stderr
    whole = said.strip().splitlines()[-1].removeprefix("risewalk: ")
    assert len(whole) > 80 - len("  ")
    assert "".join(whole.split()) in "".join(terminal.shown.split())
    terminal.keys("Enter")
    terminal.shows(f"try {session.name} again")
    terminal.keys("q")
    terminal.is_as_before(0)
