"""`walk --serve` itself: it finds the recorder, shows a link that works, and leaves the recorder going."""

import asyncio
import re
import signal
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from tui.serve.running import qr, reached_at

PATIENCE_S = 60.0
STOPS_WITHIN_S = 5.0
"""A browser's app process has a second to go, and a busy machine needs its time."""


@asynccontextmanager
async def command(session: Path, *words: str) -> AsyncIterator[asyncio.subprocess.Process]:
    pipe = {"stdin": asyncio.subprocess.PIPE, "stdout": asyncio.subprocess.PIPE, "stderr": asyncio.subprocess.STDOUT}
    called = [sys.executable, "-m", "tui.cli", "walk", str(session), "--serve", "--web-port", "0", *words]
    process = await asyncio.create_subprocess_exec(*called, **pipe)
    try:
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


async def line_with(process: asyncio.subprocess.Process, words: str) -> str:
    assert process.stdout is not None
    async with asyncio.timeout(PATIENCE_S):
        while words not in (line := (await process.stdout.readline()).decode()):
            assert line, "the command ended"
    return line.strip()


async def test_the_link_shown_works_and_stopping_leaves_the_recorder(session: Path, recorder: Any) -> None:
    jar = aiohttp.CookieJar(unsafe=True)  # browsers keep cookies of addresses in numbers
    async with command(session) as process, aiohttp.ClientSession(cookie_jar=jar) as browser:
        link = await line_with(process, "http://127.0.0.1:")
        await line_with(process, "Only this computer can open it.")
        async with browser.get(link) as answer:
            assert answer.status == 200
            assert "watching" in await answer.text()
        await line_with(process, "Opened from 127.0.0.1.")
        assert process.stdin is not None
        process.stdin.write(b"\n")
        assert await line_with(process, "http://127.0.0.1:") != link
        address = f"{answer.url.origin()}/socket"
        async with browser.ws_connect(address, headers={"Origin": str(answer.url.origin())}) as line:
            assert (await line.receive(PATIENCE_S)).type is aiohttp.WSMsgType.BINARY
            asked = time.monotonic()
            process.send_signal(signal.SIGTERM)
            await line_with(process, "Stopped. The recorder goes on")
            assert await process.wait() == 0
            assert time.monotonic() - asked < STOPS_WITHIN_S
    assert (await recorder.ask("status"))["ok"]


async def test_a_recorder_that_cannot_start_is_said_and_gives_its_code(session: Path) -> None:
    async with command(session, "--port", "/dev/no-such-port", "--instrument", "ascii-lines") as process:
        assert "no-such-port" in await line_with(process, "Refused: ")
        assert await process.wait() == 3


@pytest.mark.usefixtures("recorder")
async def test_a_port_that_is_taken_is_said(session: Path) -> None:
    taken = await asyncio.start_server(lambda *_: None, "127.0.0.1", 0)
    number = taken.sockets[0].getsockname()[1]
    async with taken, command(session, "--web-port", str(number)) as process:
        await line_with(process, "Another port: --web-port.")
        assert await process.wait() == 2


def test_the_code_is_square_and_white_on_black() -> None:
    lines = qr("http://192.168.4.2:8321/?token=abc").splitlines()
    widths = {len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in lines}
    assert len(widths) == 1
    assert abs(widths.pop() - 2 * len(lines)) <= 1, "two rows of squares in one line of text"
    assert all(line.startswith("\x1b[97;40m") and line.endswith("\x1b[0m") for line in lines)


@pytest.mark.parametrize(
    ("host", "shown"), [("127.0.0.1", "127.0.0.1"), ("::1", "[::1]"), ("slope.local", "slope.local")]
)
def test_an_address_is_written_as_a_link_needs_it(host: str, shown: str) -> None:
    assert reached_at(host) == shown
