"""The two doors of a recorder: stdin and stdout, and a local socket. The same lines, the same answers."""

import asyncio
import contextlib
import json
import os
import queue
import signal
import threading
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from logger.errors import CannotWrite
from logger.recorder.acquisition import Source
from logger.recorder.client import socket_path
from logger.recorder.clock import SessionClock
from logger.recorder.recorder import Recorder
from logger.recorder.settings import Settings
from logger.shown import shown_json

LONGEST_LINE = 64 * 1024
MOST_WAITING = 1024 * 1024
"""Bytes a client may leave unread before it is told no more readings."""
PATIENCE_S = 2.0
STDIN, STDOUT = 0, 1


def one_line(told: dict[str, Any]) -> bytes:
    """An answer or event as it goes out."""
    return shown_json(json.dumps(told, ensure_ascii=False, allow_nan=False)).encode() + b"\n"


class Lines:
    """Bytes to lines; what is longer than any command is cut to a length that is refused. `blank`: keep blank ones."""

    def __init__(self, *, blank: bool = False) -> None:
        self._buffer = bytearray()
        self._blank = blank

    def feed(self, data: bytes) -> list[str]:
        """The lines completed by these bytes."""
        self._buffer += data
        *whole, rest = self._buffer.split(b"\n")
        self._buffer = bytearray(rest[:LONGEST_LINE])
        texts = (line[:LONGEST_LINE].decode("utf-8", "replace").strip() for line in whole)
        return [text for text in texts if text or self._blank]

    def end(self) -> list[str]:
        """What was left without a line end."""
        return self.feed(b"\n")


class Standard:
    """A client on stdin and stdout, each with a thread, so that neither a slow pipe nor a full one holds the loop."""

    def __init__(self, recorder: Recorder, *, ends: bool) -> None:
        self._recorder = recorder
        self._ends = ends
        self._out: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._waiting = 0
        self._loop = asyncio.get_running_loop()
        self._writing = threading.Thread(target=self._write, name="stdout", daemon=True)
        self._writing.start()
        threading.Thread(target=self._read, name="stdin", daemon=True).start()

    def send(self, told: dict[str, Any]) -> None:
        """Queue an answer, or an event unless the reader is far behind."""
        if "ok" in told or self._waiting < MOST_WAITING:
            line = one_line(told)
            self._waiting += len(line)
            self._out.put(line)

    def finish(self) -> None:
        """Write what is queued."""
        self._out.put(None)
        self._writing.join(PATIENCE_S)

    def _read(self) -> None:
        lines = Lines()
        with contextlib.suppress(OSError, RuntimeError):  # the loop may be closed while a read was blocked
            while data := os.read(STDIN, 65536):
                for line in lines.feed(data):
                    self._loop.call_soon_threadsafe(self._recorder.submit, line, self.send)
            for line in lines.end():
                self._loop.call_soon_threadsafe(self._recorder.submit, line, self.send)
            if self._ends:
                self._loop.call_soon_threadsafe(self._recorder.submit, "end", lambda _: None)

    def _write(self) -> None:
        while (line := self._out.get()) is not None:
            with contextlib.suppress(OSError):  # nobody reads any more: the recording goes on
                sent = 0
                while sent < len(line):
                    sent += os.write(STDOUT, line[sent:])
            self._waiting -= len(line)


async def _attend(recorder: Recorder, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    def send(told: dict[str, Any]) -> None:
        if "ok" in told or writer.transport.get_write_buffer_size() < MOST_WAITING:
            writer.write(one_line(told))

    lines = Lines()
    try:
        while data := await reader.read(65536):
            for line in lines.feed(data):
                recorder.submit(line, send)
    except OSError:
        pass  # the client was killed
    finally:
        recorder.leave(send)
        writer.close()


def _names(recorder: Recorder, path: Path) -> list[Path]:
    """Where the socket is found: one name more whenever the session has got another."""
    names = [path]

    def also_here() -> None:
        names.append(socket_path(recorder.path))
        names[-1].unlink(missing_ok=True)
        names[-1].symlink_to(path)

    recorder.on_moved = also_here
    return names


@contextlib.asynccontextmanager
async def socket_served(recorder: Recorder) -> AsyncIterator[Path]:
    """Listen on the session's socket, private to the user; one left by a killed recorder is replaced.

    The recorder holds the session's lock by now, so whatever has that name is dead.
    """
    path = socket_path(recorder.path)
    path.unlink(missing_ok=True)
    before = os.umask(0o177)
    attended: dict[asyncio.Task[None], asyncio.StreamWriter] = {}

    def attend(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.create_task(_attend(recorder, reader, writer))
        attended[task] = writer
        task.add_done_callback(attended.pop)

    try:
        server = await asyncio.start_unix_server(attend, str(path))
    except OSError as error:
        raise CannotWrite(path, f"the socket cannot be made ({error})") from error
    finally:
        os.umask(before)
    recorder.socket = str(path)
    names = _names(recorder, path)
    try:
        yield path
    finally:
        server.close()
        for name in names:
            name.unlink(missing_ok=True)
        for writer in attended.values():
            writer.close()
        if attended:
            await asyncio.wait(attended, timeout=PATIENCE_S)


async def record(path: Path, settings: Settings, *, socket: bool = False) -> None:
    """Record one session with an instrument on a port until it ends; PortError and CannotWrite say why not."""
    from drivers.connection import Connection

    def make(settings: Settings, clock: SessionClock) -> Source:
        return Connection(settings.port, settings.instrument, clock=clock.steady)

    await serve(Recorder(path, settings, make), socket=socket)


async def serve(recorder: Recorder, *, socket: bool) -> None:
    """Record until the end: of input without a socket, only by `end` (or a signal) with one."""
    await recorder.start()
    standard: Standard | None = None
    try:
        _obey_signals(recorder, hang_up=not socket)
        async with contextlib.AsyncExitStack() as doors:
            if socket:
                await doors.enter_async_context(socket_served(recorder))
            standard = Standard(recorder, ends=not socket)
            await recorder.closed.wait()
            await asyncio.sleep(0)
    finally:
        await recorder.close()
        if standard is not None:
            standard.finish()


def _obey_signals(recorder: Recorder, *, hang_up: bool) -> None:
    closing: list[asyncio.Task[None]] = []

    def stop() -> None:
        closing.append(asyncio.create_task(recorder.close()))

    loop = asyncio.get_running_loop()
    with contextlib.suppress(NotImplementedError, AttributeError):
        # a screen holds these off, and what it starts inherits that
        signal.pthread_sigmask(signal.SIG_UNBLOCK, (signal.SIGTERM, signal.SIGHUP))
        loop.add_signal_handler(signal.SIGTERM, stop)
        loop.add_signal_handler(signal.SIGINT, stop)
        loop.add_signal_handler(signal.SIGHUP, stop if hang_up else lambda: None)
