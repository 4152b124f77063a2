"""A whole job in plain mode over two pseudo-terminals, the level's and ours; and the command itself, by a script."""

import asyncio
import os
import signal
import subprocess
import sys
import time
import tty
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import pytest

from drivers.connection import Connection
from drivers.instrument import load
from drivers.lengths import Units
from drivers.simulator.ground import read_ground
from drivers.simulator.players import PtyPlayer
from drivers.simulator.stage import Stage
from drivers.simulator.virtual import VirtualInstrument
from logger.recorder.client import attach
from logger.recorder.frontends import socket_served
from logger.recorder.recorder import Recorder
from logger.recorder.settings import Settings
from logger.session.replay import survey
from tui.plain.desk import Desk
from tui.walking.opening import Opening

GROUND = "station_m,elevation_m\n0,0.1\n3,1.2\n6,2.0\n"
BRIEF = '[steps]\ntread = "0.4 m"\nlanding = "1 m"\nwidth = "1 m"\n'
PATIENCE_S = 30.0
LEAVES_WITHIN_S = 2.0


@pytest.fixture(autouse=True)
def own_runtime_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


@pytest.fixture
def player(tmp_path: Path) -> Iterator[PtyPlayer]:
    """The virtual level on a pseudo-terminal."""
    ground = tmp_path / "ground.csv"
    ground.write_text(GROUND)
    with PtyPlayer(VirtualInstrument(read_ground(ground), "lines", seed=4, rate_hz=50.0)) as played:
        yield played


@pytest.fixture
def stage(player: PtyPlayer) -> Stage:
    """Moves it; its probe is on the first mark."""
    played = Stage(player)
    assert played.command("point BM 0")["ok"]
    return played


@pytest.fixture
async def session(tmp_path: Path, stage: Stage, player: PtyPlayer) -> AsyncIterator[Path]:
    """A session whose recorder runs in this process, behind its socket."""
    path = tmp_path / "bank.walk"
    settings = Settings(player.port, load("ascii-lines"), job="Alder Bank", units=Units.METRES)
    recorder = Recorder(path, settings, lambda s, clock: Connection(s.port, s.instrument, clock=clock.steady))
    await recorder.start()
    async with socket_served(recorder):
        yield path
    await recorder.close()


class Keyboard:
    """Our end of the terminal plain mode talks on."""

    def __init__(self, master: int) -> None:
        self.master, self.heard = master, ""
        os.set_blocking(master, False)

    def type(self, line: str) -> None:
        os.write(self.master, f"{line}\n".encode())

    async def hears(self, words: str) -> str:
        """Wait for words; what came with them. What was said before them is behind us."""
        deadline = time.monotonic() + PATIENCE_S
        while words not in self.heard:
            assert time.monotonic() < deadline, f"never said: {words!r}\n{self.heard}"
            with suppress(BlockingIOError, OSError):
                self.heard += os.read(self.master, 65536).decode()
            await asyncio.sleep(0.02)
        before, _, after = self.heard.partition(words)
        line, _, self.heard = (words + after).partition("\n")
        return before + line


@asynccontextmanager
async def at_desk(session: Path, brief: Path | None = None) -> AsyncIterator[tuple[Keyboard, "asyncio.Task[None]"]]:
    """Plain mode on a terminal of its own."""

    async def connect(opening: Opening):
        client = await attach(opening.session)
        assert client is not None
        return client

    master, slave = os.openpty()
    tty.setraw(slave)
    walking = asyncio.create_task(Desk(Opening(session), connect, ends=(slave, slave)).run(brief))
    try:
        yield Keyboard(master), walking
    finally:
        walking.cancel()
        await asyncio.gather(walking, return_exceptions=True)
        os.close(master)
        os.close(slave)


async def test_a_job_by_typed_lines(session: Path, stage: Stage, tmp_path: Path) -> None:
    brief = tmp_path / "brief.toml"
    brief.write_text(BRIEF)
    async with at_desk(session, brief) as (keyboard, walking):
        assert "Check: Hose filled" in await keyboard.hears("Next: zero on BM.")
        keyboard.type("")
        await keyboard.hears("Taken and saved")
        for metre in (0, 1, 2, 3):
            stage.command(f"at {metre}")
            keyboard.type(str(metre))
            await keyboard.hears(f": {metre} m, ")
        assert "risers" in await keyboard.hears("Best so far: ")
        keyboard.type("1")
        await keyboard.hears("Question: 1 m is in the book already")
        keyboard.type("no")
        await keyboard.hears("Left: nothing was done.")
        keyboard.type("turn")
        await keyboard.hears("Next: turning point TP1.")
        keyboard.type("")
        await keyboard.hears("Next: the reference end is moved.")
        stage.command("shift")
        keyboard.type("")
        await keyboard.hears("Next: turning point TP1 again.")
        keyboard.type("")
        await keyboard.hears("turn TP1, ")
        keyboard.type("undo")
        await keyboard.hears("Question: Strike out no. 7")
        keyboard.type("yes")
        await keyboard.hears("No. 7 is struck out")
        keyboard.type("\x1b[2J[/x]" + "x" * 9000)
        assert "\x1b" not in await keyboard.hears("Type help for the words there are.")
        stage.command("unplug")
        await keyboard.hears("Lost: ")
        stage.command("replug")
        await keyboard.hears("Live again. ")
        keyboard.type("quit")
        await keyboard.hears("Left: the recorder goes on.")
        await asyncio.wait_for(walking, PATIENCE_S)
    assert [o.struck for o in survey(session).observations].count(True) == 1


async def test_another_screen_tags_and_ends_and_both_are_told(session: Path) -> None:
    async with at_desk(session) as (keyboard, walking):
        await keyboard.hears("Next: zero on BM.")
        other = await attach(session)
        assert other is not None
        assert (await other.ask("benchmark BM"))["ok"]
        await keyboard.hears("Taken by another screen: no. 1, zero BM.")
        await other.close()
        keyboard.type("end")
        await keyboard.hears("Ended: the session is saved and closed.")
        await asyncio.wait_for(walking, PATIENCE_S)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
async def test_a_signal_leaves_within_two_seconds_even_while_a_tag_waits(
    session: Path, stage: Stage, number: int
) -> None:
    async with at_desk(session) as (keyboard, walking):
        await keyboard.hears("Next: ")
        stage.command("noise 5 cm")
        keyboard.type("benchmark BM")
        await keyboard.hears("Hold still: ")
        asked = time.monotonic()
        os.kill(os.getpid(), number)
        await asyncio.wait_for(walking, PATIENCE_S)
        assert time.monotonic() - asked < LEAVES_WITHIN_S
        await keyboard.hears("Left: the recorder goes on.")


@pytest.mark.usefixtures("stage")
async def test_a_script_drives_the_command_through_a_pipe(tmp_path: Path, player: PtyPlayer) -> None:
    session = tmp_path / "pipe.walk"
    words = [sys.executable, "-m", "tui.cli", "walk", "--plain", str(session), "--port", player.port]
    pipe = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    started = await asyncio.create_subprocess_exec(*words, "--instrument", "ascii-lines", cwd=tmp_path, **pipe)
    script = b"benchmark BM\nstation 0\nstatus\n"
    try:
        said = (await asyncio.wait_for(started.communicate(script), PATIENCE_S))[0].decode()
        assert started.returncode == 0
        assert [line.split(":")[0] for line in said.splitlines() if line.startswith(("Hold", "Left"))] == [
            "Hold still", "Hold still", "Left",
        ]  # fmt: skip
        assert "\x1b" not in said
        assert "\a" not in said
        recorder = await attach(session)
        assert recorder is not None, "the end of the input leaves the recorder going"
        await recorder.ask("end")
        await recorder.close()
    finally:
        if started.returncode is None:
            started.kill()
            await started.wait()
    assert len(survey(session).observations) == 2
