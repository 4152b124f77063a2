"""`risewalk walk` itself, in a terminal, driven by keys, on the virtual level and with the real recorder behind it."""

import asyncio
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from logger.recorder.client import attach
from logger.session.replay import survey
from tui.cli.demo import Child, child

TMUX = shutil.which("tmux")
pytestmark = pytest.mark.skipif(TMUX is None, reason="tmux is not installed; it is the terminal of these tests")
PATIENCE_S = 20.0
QUITS_WITHIN_S = 2.0
GROUND = "station_m,elevation_m\n0,0.1\n3,1.2\n6,2.0\n"
LEFT = "back at the prompt, code"


def until(true: Callable[[], object], what: Callable[[], object] = str, within_s: float = PATIENCE_S) -> None:
    """Look again and again until something holds; what was seen instead is in the failure."""
    deadline = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < deadline, what()
        time.sleep(0.02)


class Terminal:
    """One tmux server of its own with one window; its socket is in a folder that goes with it."""

    def __init__(self, folder: Path, home: Path) -> None:
        self._socket = folder / "terminal"
        variables = {k: v for k, v in os.environ.items() if not k.startswith(("TMUX", "XDG_CONFIG", "XDG_STATE"))}
        self._env = variables | {"HOME": str(home), "PS1": "$ ", "ENV": "", "LC_ALL": "C.UTF-8"}
        self("new-session", "-d", "-x", "80", "-y", "24", "-c", str(home), "sh")

    def __call__(self, *words: str) -> str:
        assert TMUX is not None
        done = subprocess.run(
            [TMUX, "-f", "/dev/null", "-S", str(self._socket), *words],
            env=self._env,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def keys(self, *keys: str) -> None:
        """Press keys, by tmux's names of them."""
        self("send-keys", *keys)

    @property
    def shown(self) -> str:
        """What stands on the screen."""
        return self("capture-pane", "-p", "-J")

    @property
    def full_screen(self) -> bool:
        """Whether the alternate screen is on."""
        return self("display-message", "-p", "#{alternate_on}").strip() == "1"

    @property
    def cursor_hidden(self) -> bool:
        return self("display-message", "-p", "#{cursor_flag}").strip() == "0"

    @property
    def mouse_taken(self) -> bool:
        return self("display-message", "-p", "#{mouse_any_flag}").strip() == "1"

    def shows(self, words: str) -> None:
        """Wait for words on the screen."""
        until(lambda: words in self.shown, lambda: f"never shown: {words}\n{self.shown}")

    def walk(self, session: Path, port: str) -> None:
        """Type the command a user would."""
        words = f"{sys.executable} -m tui.cli walk {session.name} --port {port} --instrument ascii-lines"
        self.keys(f"{words} --units m --tape level; echo back at the prompt, code $?", "Enter")

    def is_as_before(self, code: int) -> None:
        """The command ended with this code, and the terminal is the shell's again: it echoes what is typed."""
        self.shows(f"{LEFT} {code}")
        assert not self.full_screen
        assert not self.cursor_hidden
        assert not self.mouse_taken
        self.keys("echo a''b", "Enter")
        self.shows("\nab")
        assert "echo a''b" in self.shown


def of_session(session: Path) -> list[int]:
    """The processes of ours that name this session: its recorder, its screen."""
    found = []
    for entry in Path("/proc").iterdir():
        with suppress(OSError):
            if entry.name.isdecimal() and os.readlink(entry / "cwd") == str(session.parent):
                words = (entry / "cmdline").read_bytes().split(b"\0")
                found += [int(entry.name)] if b"tui.cli" in words and session.name.encode() in words else []
    return found


def screens(session: Path) -> list[int]:
    return [pid for pid in of_session(session) if b"walk" in Path(f"/proc/{pid}/cmdline").read_bytes().split(b"\0")]


async def end(session: Path) -> bool:
    """End the session's recorder; whether there was one."""
    client = await attach(session)
    if client is None:
        return False
    with suppress(ConnectionError):
        await client.ask("end")
    await client.close()
    return True


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Path]:
    """Where the session will be; whatever records it is ended with the test, and is gone."""
    path = tmp_path / "bank.walk"
    yield path
    with suppress(ConnectionError):
        asyncio.run(end(path))
    until(lambda: not of_session(path), lambda: f"left running: {of_session(path)}")


@pytest.fixture
def terminal(tmp_path: Path, session: Path) -> Iterator[Terminal]:
    """A terminal with a shell in it; named in a short folder, because a socket's name may not be long."""
    with tempfile.TemporaryDirectory(prefix="rw-", dir="/tmp") as folder:
        opened = Terminal(Path(folder), tmp_path)
        yield opened
        with suppress(AssertionError):
            opened("kill-server")


@pytest.fixture
def level(tmp_path: Path) -> Iterator[Child]:
    """The virtual level, its probe on the first mark."""
    ground = tmp_path / "ground.csv"
    ground.write_text(GROUND)
    with child("simulate", "--ground", str(ground), "--rate", "50", "--seed", "4") as played:
        played.port = str(played.answer()["port"])  # type: ignore[attr-defined]
        played.ask("point BM 0")
        yield played


@contextmanager
def silent_port() -> Iterator[str]:
    """A port on which nobody ever speaks."""
    ours, theirs = os.openpty()
    try:
        yield os.ttyname(theirs)
    finally:
        os.close(theirs)
        os.close(ours)


def is_whole(session: Path, observations: int) -> None:
    """The session verifies and holds as many observations."""
    done = subprocess.run(
        [sys.executable, "-m", "tui.cli", "verify", str(session), "--json"], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert json.loads(done.stdout)["ok"] is True
    assert len(survey(session).observations) == observations


def begun(terminal: Terminal, session: Path, level: Child) -> None:
    """The zero and the first station, by keys."""
    terminal.walk(session, level.port)  # type: ignore[attr-defined]
    terminal.shows("Before the first reading")
    terminal.keys("Enter")
    terminal.shows("zero on BM")
    terminal.keys("Space")
    terminal.shows("zero BM ")
    level.ask("at 0")
    terminal.shows("station 0 m")
    terminal.keys("Space")
    terminal.shows("0 m, +0.100 m")


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
