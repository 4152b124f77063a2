"""A server in the test's own process, an app process of the real kind behind each browser, a real recorder."""

import asyncio
import sys
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from aiohttp.test_utils import TestClient, TestServer

from logger.recorder.client import Client, attach
from tui.serve.door import Door
from tui.serve.served import Served
from tui.serve.server import Server
from tui.walking.opening import Opening

PATIENCE_S = 60.0


@pytest.fixture(autouse=True)
def own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("XDG_RUNTIME_DIR", "XDG_STATE_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(tmp_path))


@dataclass
class Site:
    """One server, and the link it shows."""

    client: TestClient
    door: Door
    came_in: list[str]

    @property
    def origin(self) -> str:
        return f"http://{self.client.host}:{self.client.port}"

    def link(self) -> str:
        return f"/?token={self.door.new_token()}"

    async def come_in(self) -> None:
        assert (await self.client.get(self.link())).status == 200

    def socket(self, **headers: str):
        return self.client.ws_connect("/socket?width=60&height=30", headers={"Origin": self.origin, **headers})


Serving = Callable[..., Awaitable[Site]]


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return tmp_path / "bank.walk"


@pytest.fixture
async def recorder(session: Path) -> AsyncIterator[Client]:
    """A recorder of that session on a virtual level that stands still, and our own line to it."""
    words = ["record", str(session), "--socket", "--port", "sim://lines?rate=20", "--instrument", "ascii-lines"]
    quiet = asyncio.subprocess.DEVNULL
    process = await asyncio.create_subprocess_exec(sys.executable, "-m", "tui.cli", *words, stdin=quiet, stdout=quiet)
    try:
        async with asyncio.timeout(PATIENCE_S):
            while (client := await attach(session)) is None:
                assert process.returncode is None
                await asyncio.sleep(0.05)
        yield client
        await client.close()
    finally:
        if process.returncode is None:
            process.terminate()
        await process.wait()


@pytest.fixture
async def serving(session: Path) -> AsyncIterator[Serving]:
    """Serve the session."""
    clients: list[TestClient] = []

    async def serve(*, control: bool = False) -> Site:
        door, came_in = Door("127.0.0.1"), list[str]()
        served = Served(Opening(session), None, dark=False, control=control)
        server = Server(door, served.words(), "may tag" if control else "watching", entered=came_in.append)
        client = TestClient(TestServer(server.application()))
        await client.start_server()
        clients.append(client)
        return Site(client, door, came_in)

    yield serve
    for client in clients:
        await client.close()
