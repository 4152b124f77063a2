"""The recorder behind its socket: several clients, a killed recorder, a closed terminal."""

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from logger.errors import CannotWrite
from logger.recorder.client import Client, attach, socket_path
from logger.session.events import Draft, EventKind, raw_draft
from logger.session.packing import RawChunk
from logger.session.replay import field_book
from logger.session.store import Session

LINES = """
[instrument]
name = "Hose level, lines"
[decoder]
kind = "lines"
pattern = '(?P<height>\\d+\\.\\d+)'
[height]
unit = "m"
[settle]
window = "0.2 s"
"""


@pytest.fixture
def command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """A recorder of slope.walk on a socket, its instrument a recording of a minute at 50 Hz."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    (tmp_path / "level.toml").write_text(LINES)
    raw = [RawChunk(t, f"1.{t // 20_000 % 3:04d}\n".encode()) for t in range(0, 60_000_000, 20_000)]
    opened = {"tape": "level", "job": "", "port": "", "instrument": {"text": LINES, "sha256": ""}}
    with Session.create(tmp_path / "source.walk") as session:
        session.append([Draft(0, 0, EventKind.OPENED, opened), raw_draft(0, raw)])
    options = [str(tmp_path / "slope.walk"), "--port", f"replay://{tmp_path}/source.walk", "--socket"]
    return [sys.executable, "-m", "tui.cli", "record", *options, "--instrument", str(tmp_path / "level.toml")]


def launched(command: list[str]) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(command, stdin=subprocess.DEVNULL, start_new_session=True)


def exists(path: str) -> bool:
    return Path(path).exists()


Start = Callable[[], Awaitable[Client]]


@pytest.fixture
async def start(tmp_path: Path, command: list[str]) -> AsyncIterator[Start]:
    """Start a recorder in a session of its own and attach to it; all are ended afterwards."""
    processes: list[subprocess.Popen[bytes]] = []

    async def run() -> Client:
        processes.append(launched(command))
        async with asyncio.timeout(30):
            while (client := await attach(tmp_path / "slope.walk")) is None:
                assert processes[-1].poll() is None
                await asyncio.sleep(0.02)
        return client

    yield run
    for process in processes:
        process.terminate()
        process.wait(10)


@pytest.fixture
async def client(start: Start) -> AsyncIterator[Client]:
    client = await start()
    yield client
    await client.close()


async def test_it_listens_in_a_place_of_this_user_alone(client: Client, tmp_path: Path) -> None:
    status = await client.ask("status")
    assert status["socket"] == str(socket_path(tmp_path / "slope.walk"))
    assert os.stat(status["socket"]).st_mode & 0o777 == 0o600
    assert os.stat(Path(status["socket"]).parent).st_mode & 0o777 == 0o700
    assert os.getsid(status["process"]) != os.getsid(0)


def test_a_system_without_such_sockets_is_told_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr("socket.AF_UNIX")
    with pytest.raises(CannotWrite, match="risewalk record"):
        socket_path(tmp_path / "slope.walk")


async def test_answers_go_to_who_asked_and_events_to_who_watches(client: Client, tmp_path: Path) -> None:
    other = await attach(tmp_path / "slope.walk")
    assert other is not None
    assert (await other.ask("watch on"))["on"]
    tags = await asyncio.gather(client.ask("benchmark BM"), other.ask("station 1"), client.ask("station 2"))
    assert sorted(t["n"] for t in tags) == [1, 2, 3]
    assert [t["kind"] for t in tags] == ["benchmark", "station", "station"]
    events = other.events()
    heard = [await anext(events) for _ in range(5)]
    assert all(e["event"] == "reading" for e in heard)
    assert (await client.ask("status"))["counts"]["stations"] == 2
    await other.close()


async def test_it_outlives_its_clients_and_a_hang_up(client: Client, tmp_path: Path) -> None:
    status = await client.ask("status")
    await client.ask("benchmark BM")
    await client.close()
    os.kill(status["process"], signal.SIGHUP)
    again = await attach(tmp_path / "slope.walk")
    assert again is not None
    now = await again.ask("status")
    assert (now["process"], now["counts"]["observations"]) == (status["process"], 1)
    await again.close()


async def test_a_session_that_was_moved_is_found_under_both_names(client: Client, tmp_path: Path) -> None:
    await client.ask("force benchmark BM")
    (tmp_path / "slope.walk").unlink()
    rescued = tmp_path / "slope-rescued.walk"
    async with asyncio.timeout(30):
        while (other := await attach(rescued)) is None:  # noqa: ASYNC110 - nothing announces it
            await asyncio.sleep(0.05)
    status = await other.ask("status")
    assert (status["session"], status["counts"]["observations"]) == (str(rescued), 1)
    assert "slope-rescued.walk" in status["moved"]
    assert (await client.ask("force station 1"))["ok"]
    await other.close()
    link = socket_path(rescued)
    assert (await client.ask("end"))["session"] == str(rescued)
    async with asyncio.timeout(30):
        while exists(str(link)):  # noqa: ASYNC110 - nothing announces it
            await asyncio.sleep(0.01)


async def test_a_killed_recorder_is_noticed_and_its_socket_replaced(
    client: Client, start: Start, tmp_path: Path
) -> None:
    await client.ask("benchmark BM")
    status = await client.ask("status")
    os.kill(status["process"], signal.SIGKILL)
    with pytest.raises(ConnectionError):
        await client.ask("station 1")
    assert [event async for event in client.events()] == []
    assert await attach(tmp_path / "slope.walk") is None
    assert exists(status["socket"])
    again = await start()
    now = await again.ask("status")
    assert (now["counts"]["observations"], now["needs_zero"]) == (1, False)
    assert now["process"] != status["process"]
    await again.close()


async def test_end_stops_it_and_takes_the_socket_away(client: Client, tmp_path: Path) -> None:
    status = await client.ask("status")
    waits = asyncio.create_task(client.ask("benchmark BM"))
    await asyncio.sleep(0)
    ended = await client.ask("end")
    assert ended["event"] == "ended"
    assert (await waits)["ok"], "what was asked before is answered before"
    async with asyncio.timeout(5):
        while exists(status["socket"]):  # noqa: ASYNC110 - nothing announces it
            await asyncio.sleep(0.01)
    with Session.open(tmp_path / "slope.walk") as session:
        assert field_book(session).closed
    assert await attach(tmp_path / "slope.walk") is None


async def test_a_client_that_never_reads_does_not_stop_the_recording(client: Client, tmp_path: Path) -> None:
    reader, writer = await asyncio.open_unix_connection(str(socket_path(tmp_path / "slope.walk")))
    writer.write(b"watch on\n" + b"list\n" * 200)
    before = (await client.ask("status"))["counts"]["readings"]
    assert (await client.ask("benchmark BM"))["ok"]
    after: Any = await client.ask("status")
    assert after["counts"]["readings"] > before
    writer.close()
    del reader
