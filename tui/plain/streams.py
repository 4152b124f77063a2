"""Typed lines in, said lines out, each by a daemon thread: neither a silent keyboard nor a full pipe holds the walk."""

import asyncio
import contextlib
import os
import queue
import threading
from collections.abc import AsyncIterator, Callable

from logger.recorder.frontends import Lines

STDIN, STDOUT = 0, 1
PATIENCE_S = 0.5


async def typed(source: int = STDIN) -> AsyncIterator[str]:
    """Lines as they are typed, blank ones too, until the input ends."""
    loop, lines = asyncio.get_running_loop(), asyncio.Queue[str | None]()

    def read() -> None:
        cut = Lines(blank=True)
        with contextlib.suppress(RuntimeError):  # the loop has ended while a read was blocked
            with contextlib.suppress(OSError):  # the terminal is gone: the same as an end of input
                while data := os.read(source, 65536):
                    for line in cut.feed(data):
                        loop.call_soon_threadsafe(lines.put_nowait, line)
            for line in filter(None, cut.end()):
                loop.call_soon_threadsafe(lines.put_nowait, line)
            loop.call_soon_threadsafe(lines.put_nowait, None)

    threading.Thread(target=read, name="stdin", daemon=True).start()
    while (line := await lines.get()) is not None:
        yield line


class Voice:
    """Says lines in order; `gone` is called in its thread when nobody can hear them any more."""

    def __init__(self, gone: Callable[[], None], target: int = STDOUT) -> None:
        self._target, self._gone = target, gone
        self._lines: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._write, name="stdout", daemon=True)
        self._thread.start()

    def say(self, line: str) -> None:
        """One full line."""
        self._lines.put(f"{line}\n".encode(errors="replace"))

    def ring(self) -> None:
        """The terminal's bell; a log or a pipe is left without."""
        if os.isatty(self._target):
            self._lines.put(b"\a")

    def close(self) -> None:
        """Say what is left, if somebody listens."""
        self._lines.put(None)
        self._thread.join(PATIENCE_S)

    def _write(self) -> None:
        try:
            while (line := self._lines.get()) is not None:
                sent = 0
                while sent < len(line):
                    sent += os.write(self._target, line[sent:])
        except OSError:
            self._gone()
