"""A terminal of the tests' own, in tmux: what is typed into it, what it shows, and what the recorder behind it left."""

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from logger.recorder.client import attach
from logger.session.replay import survey
from tui.cli.demo import Child

TMUX = shutil.which("tmux")
PATIENCE_S = 30.0
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

    def walk(
        self, session: Path, port: str, *, instrument: str = "ascii-lines", first: str = "", more: str = ""
    ) -> None:
        """Type the command a user would, with variables of the environment before it."""
        words = f"{first} {sys.executable} -m tui.cli walk {session.name} --port {port} --instrument {instrument}"
        self.keys(f"{words.strip()} --units m --tape level {more}; echo back at the prompt, code $?", "Enter")

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


def begun(terminal: Terminal, session: Path, level: Child, **how: str) -> None:
    """The zero and the first station, by keys."""
    terminal.walk(session, level.port, **how)  # type: ignore[attr-defined]
    terminal.shows("Before the first reading")
    terminal.keys("Enter")
    terminal.shows("zero on BM")
    terminal.keys("Space")
    terminal.shows("zero BM ")
    level.ask("at 0")
    terminal.shows("station 0 m")
    terminal.keys("Space")
    terminal.shows("0 m, +0.100 m")
