"""The real command on a real pseudo-terminal that a thread of the test plays the instrument on."""

import json
import os
import pty
import subprocess
import sys
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

LINES = """
[instrument]
name = "Hose level, lines"
[serial]
silence = "1.5 s"
[decoder]
kind = "lines"
pattern = '^(?P<height>[+-]?\\d+\\.\\d+)'
[height]
unit = "m"
resolution = "0.1 mm"
[settle]
window = "0.2 s"
spread = "2 mm"
"""
RISEWALK = [sys.executable, "-m", "tui.cli"]
HZ = 50.0


class Level:
    """A hose level that speaks on a pseudo-terminal until it is unplugged."""

    def __init__(self) -> None:
        self.height_m = 1.0
        self._quiet = threading.Event()
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._speak)
        self._thread.start()

    def _speak(self) -> None:
        count = 0
        while not self._stop.wait(1 / HZ):
            count += 1
            if not self._quiet.is_set():
                os.write(self._master, f"{self.height_m + 0.0001 * (count % 3):.4f} m\r\n".encode())

    def silence(self) -> None:
        """Say nothing more."""
        self._quiet.set()

    def unplug(self) -> None:
        """Hang up, as a pulled cable does."""
        if not self._stop.is_set():
            self._stop.set()
            self._thread.join()
            os.close(self._master)
            os.close(self._slave)


@pytest.fixture
def level() -> Iterator[Level]:
    level = Level()
    yield level
    level.unplug()


@pytest.fixture
def instrument(tmp_path: Path) -> Path:
    path = tmp_path / "level.toml"
    path.write_text(LINES)
    return path


Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run a command to its end; text in, text out."""

    def call(*arguments: object, stdin: str = "") -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [*RISEWALK, *map(str, arguments)],
            input=stdin,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
            cwd=tmp_path,
            env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)},
        )

    return call


class Recording:
    """A recorder being talked to, line by line."""

    def __init__(self, folder: Path, *arguments: object) -> None:
        self.process = subprocess.Popen(
            [*RISEWALK, "record", *map(str, arguments)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=folder,
            env={**os.environ, "XDG_RUNTIME_DIR": str(folder)},
        )

    def ask(self, line: str) -> dict[str, Any]:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
        return self.answer()

    def answer(self) -> dict[str, Any]:
        assert self.process.stdout is not None
        told = json.loads(self.process.stdout.readline())
        assert isinstance(told, dict)
        return told

    def end(self) -> tuple[int, str, str]:
        """Close stdin; the exit code and what else was said."""
        out, err = self.process.communicate(timeout=30)
        return self.process.returncode, out, err


@pytest.fixture
def record(tmp_path: Path) -> Iterator[Callable[..., Recording]]:
    """Start recorders; those still running at the end are killed."""
    started: list[Recording] = []

    def start(*arguments: object) -> Recording:
        started.append(Recording(tmp_path, *arguments))
        return started[-1]

    yield start
    for one in started:
        if one.process.poll() is None:
            one.process.kill()
        one.process.communicate()
