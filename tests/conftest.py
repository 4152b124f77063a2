"""What holds for every test: nothing is left running behind it."""

import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

PATIENCE_S = 3.0


@pytest.fixture(scope="session")
def corpus() -> Path:
    """The folder of real captured input, or a skip that says where it was looked for."""
    folder = Path(os.environ.get("RISEWALK_CORPUS", Path(__file__).parents[2] / "shared" / "corpus"))
    if not folder.is_dir():
        pytest.skip(f"no captured input at {folder}; set RISEWALK_CORPUS")
    return folder


def children() -> set[int]:
    """Process ids of this process's own children, dead ones that nobody waited for among them."""
    listed = Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children")
    return {int(pid) for pid in listed.read_text().split()} if listed.exists() else set()


@pytest.fixture(autouse=True)
def nothing_left_running() -> Iterator[None]:
    """Fail a test that leaves a process or a thread that would keep the program alive."""
    pids, threads = children(), set(threading.enumerate())
    yield

    def left() -> list[object]:
        alive = [t for t in threading.enumerate() if t not in threads and not t.daemon and t.is_alive()]
        return [*(children() - pids), *alive]

    deadline = time.monotonic() + PATIENCE_S
    pause = threading.Event()
    while left() and time.monotonic() < deadline:
        pause.wait(0.01)
    assert not left(), f"left running: {left()}"
