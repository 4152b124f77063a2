"""Bytes on their way from a reader's thread to the event loop: the reader never waits, whoever is slow."""

import asyncio
from collections import deque
from collections.abc import AsyncIterator

from drivers.reading import Chunk


class Arrivals:
    """A queue filled from any thread and emptied by one task; one wake-up serves all that is waiting."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._chunks: deque[Chunk] = deque()
        self._ready = asyncio.Event()
        self._woken = False
        self._end: BaseException | None = None
        self._ended = False

    def put(self, chunk: Chunk) -> None:
        """From the reader: a chunk came."""
        self._chunks.append(chunk)
        self._wake()

    def end(self, error: BaseException | None = None) -> None:
        """From the reader: nothing more will come; `error` is raised once all before it is taken."""
        if not self._ended:
            self._end, self._ended = error, True
            self._wake()

    def _wake(self) -> None:
        if not self._woken:
            self._woken = True
            try:
                self._loop.call_soon_threadsafe(self._ready.set)
            except RuntimeError:
                self._ended = True

    async def __aiter__(self) -> AsyncIterator[Chunk]:
        """Each chunk in its order; raises what the reader ended with."""
        while True:
            while self._chunks:
                yield self._chunks.popleft()
            if self._ended and not self._chunks:
                if self._end is not None:
                    raise self._end
                return
            self._woken = False
            self._ready.clear()
            if not self._chunks and not self._ended:
                await self._ready.wait()
