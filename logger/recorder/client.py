"""The other end of a recorder's socket: find the recorder of a session, ask it lines, hear its events."""

import asyncio
import contextlib
import json
import os
import socket
import warnings
from collections.abc import AsyncIterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from logger.errors import CannotWrite

LONGEST_ANSWER = 16 * 1024 * 1024
ANSWERS_WITHIN_S = 5.0


def socket_path(session: Path) -> Path:
    """Where the recorder of a session listens: in this user's runtime folder, named after the session's full path.

    CannotWrite where the system has no such sockets, or no place for one.
    """
    if not hasattr(socket, "AF_UNIX"):
        raise CannotWrite(session, "this system has no local sockets; record without one: risewalk record FILE")
    name = sha256(os.fsencode(session.resolve())).hexdigest()[:16]
    return runtime_folder() / f"{name}.sock"


def runtime_folder() -> Path:
    """This user's own runtime folder, made if need be; CannotWrite if others could reach into it."""
    from platformdirs import user_runtime_path

    with warnings.catch_warnings():  # it warns where the system gives none; what it falls back to is judged below
        warnings.simplefilter("ignore")
        folder = user_runtime_path("risewalk", appauthor=False, ensure_exists=False)
    try:
        folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise CannotWrite(folder, f"no place for the socket ({error.strerror}); set XDG_RUNTIME_DIR") from error
    for place in (folder, folder.parent):
        if place.stat().st_uid not in (os.getuid(), 0):
            raise CannotWrite(place, "this folder belongs to somebody else; set XDG_RUNTIME_DIR to one of your own")
    if folder.stat().st_mode & 0o077:
        folder.chmod(0o700)
    return folder


class Client:
    """A connection to a recorder. Answers go to who asked; what else it says is an event."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer
        self._asked: list[tuple[str, asyncio.Future[dict[str, Any]]]] = []
        self._events: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue(maxsize=1000)
        self._listening = asyncio.create_task(self._listen())

    async def ask(self, line: str) -> dict[str, Any]:
        """Send one line and wait for its answer; ConnectionError once the recorder is gone."""
        line = " ".join(line.splitlines()).strip()
        answer: asyncio.Future[dict[str, Any]] = asyncio.get_running_loop().create_future()
        if self._listening.done():
            raise ConnectionResetError("the recorder is gone")
        self._asked.append((line, answer))
        self._writer.write(line.encode() + b"\n")
        await self._writer.drain()
        return await answer

    async def events(self) -> AsyncIterator[dict[str, Any]]:
        """What the recorder says unasked (after `watch on`), until it is gone."""
        while (event := await self._events.get()) is not None:
            yield event

    async def close(self) -> None:
        """Leave; the recorder goes on."""
        self._listening.cancel()
        await asyncio.gather(self._listening, return_exceptions=True)
        self._writer.close()
        with contextlib.suppress(OSError):  # the recorder had gone already
            await self._writer.wait_closed()

    async def _listen(self) -> None:
        try:
            while line := await self._reader.readline():
                self._heard(json.loads(line))
        except (OSError, ValueError):
            pass  # a recorder that was killed in mid-line: the same as one that is gone
        finally:
            for _, answer in self._asked:
                if not answer.done():
                    answer.set_exception(ConnectionResetError("the recorder is gone"))
            if self._events.full():
                self._events.get_nowait()
            self._events.put_nowait(None)

    def _heard(self, told: dict[str, Any]) -> None:
        if "ok" not in told:
            if self._events.full():
                self._events.get_nowait()
            self._events.put_nowait(told)
            return
        for at, (line, answer) in enumerate(self._asked):
            if line == told.get("command"):
                del self._asked[at]
                if not answer.done():
                    answer.set_result(told)
                return


async def attach(session: Path | str) -> Client | None:
    """Connect to the recorder of a session; None if none is running, or none that answers."""
    try:
        reader, writer = await asyncio.open_unix_connection(str(socket_path(Path(session))), limit=LONGEST_ANSWER)
    except (FileNotFoundError, ConnectionError):
        return None
    client = Client(reader, writer)
    try:
        async with asyncio.timeout(ANSWERS_WITHIN_S):
            await client.ask("status")
    except (ConnectionError, TimeoutError):  # a recorder that is just being killed still accepts connections
        await client.close()
        return None
    return client
