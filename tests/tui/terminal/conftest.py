"""A terminal, a session and a virtual level for each test."""

import asyncio
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from tmux_terminal import TMUX, Terminal, end, of_session, until

from tui.cli.demo import Child, child

GROUND = "station_m,elevation_m\n0,0.1\n3,1.2\n6,2.0\n"


@pytest.fixture(autouse=True)
def needs_tmux() -> None:
    """It is the terminal of these tests."""
    if TMUX is None:
        pytest.skip("tmux is not installed")


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
