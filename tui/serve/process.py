"""One app process behind one browser. The base class is reached by private names: its package is pinned exactly."""

import asyncio
import contextlib
import json
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from textual_serve.app_service import AppService
from textual_serve.download_manager import DownloadManager

LEAVES_WITHIN_S = 1.0
SMALLEST, LARGEST = 8, 500
"""Cells that a terminal may have in each direction."""


class AppProcess(AppService):
    """The screen of one browser: keys in, what is painted out."""

    def __init__(
        self,
        words: Sequence[str],
        *,
        write_bytes: Callable[[bytes], Awaitable[None]],
        close: Callable[[], Awaitable[Any]],
    ) -> None:
        super().__init__(
            "",
            write_bytes=write_bytes,
            write_str=_nothing_but_paint,
            close=close,
            download_manager=DownloadManager(),
        )
        self._words = [sys.executable, "-m", "tui.serve.screen", *words]

    async def _open_app_process(self, width: int = 80, height: int = 24) -> Process:
        env = self._build_environment(cells(width, 80), cells(height, 24)) | {"TEXTUAL_FPS": "30"}
        process = await asyncio.create_subprocess_exec(*self._words, stdin=PIPE, stdout=PIPE, stderr=PIPE, env=env)
        assert process.stdin is not None
        self._process, self._stdin = process, process.stdin
        return process

    async def run(self) -> None:
        """Pass on what is painted; a browser is not left with a screen whose app is gone."""
        await super().run()
        await self.remote_close()

    async def leave(self) -> None:
        """Ask it to go; one that waits for a browser that is gone is ended. The recorder behind it goes on."""
        process, task = self._process, self._task
        if process is None or task is None:
            return
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(LEAVES_WITHIN_S):
                await self.send_meta({"type": "quit"})
                await process.wait()
        if process.returncode is None:
            process.kill()
            await process.wait()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    async def on_meta(self, data: bytes) -> None:
        """The end of the app is passed on; the browser is told to open or to fetch nothing."""
        if json.loads(data).get("type") == "exit":
            await self.remote_close()

    async def on_packed(self, payload: bytes) -> None:
        """No file is delivered."""


async def _nothing_but_paint(_: str) -> None:
    """What the browser would be told besides paint."""


def cells(value: object, default: int) -> int:
    """A number of cells as a browser says it, within reason."""
    with contextlib.suppress(TypeError, ValueError):
        return max(SMALLEST, min(LARGEST, int(str(value))))
    return default
