"""Playing a virtual instrument on a pseudo-terminal or a TCP port: one thread each, and a lock for its moves."""

import contextlib
import os
import pty
import select
import socket
import tempfile
import threading
import time
import tty
from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path

from drivers.simulator.virtual import VirtualInstrument

READ = 4096
IDLE_S = 1.0


class Player(ABC):
    """One thread that lets a virtual instrument talk and answer; `lock` is held while it does."""

    def __init__(self, virtual: VirtualInstrument, clock: Callable[[], float] = time.monotonic) -> None:
        self.virtual = virtual
        self.clock = clock
        self.lock = threading.RLock()
        self.port = ""
        self._owed = b""
        self._wake = os.pipe()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._play, name="virtual instrument", daemon=True)

    def __enter__(self) -> "Player":
        """Plug in and begin to play."""
        self.plug()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop playing and unplug."""
        self._stop.set()
        self._nudge()
        self._thread.join()
        self.unplug()
        for fd in self._wake:
            os.close(fd)

    @property
    @abstractmethod
    def plugged(self) -> bool:
        """Whether anyone could hear it."""

    @abstractmethod
    def plug(self) -> None:
        """Make the port; harmless if it is there."""

    @abstractmethod
    def unplug(self) -> None:
        """Take the port away, as pulling the cable does."""

    @abstractmethod
    def _descriptor(self) -> int | None:
        """What is waited on for bytes to come in."""

    @abstractmethod
    def _take(self) -> bytes:
        """The bytes that came in."""

    @abstractmethod
    def _send(self, data: bytes) -> int:
        """Send what the line takes now; how much that was."""

    def _nudge(self) -> None:
        os.write(self._wake[1], b".")

    def _play(self) -> None:
        while not self._stop.is_set():
            with self.lock:
                fd = self._descriptor()
                wait_s = self.virtual.wait_s(self.clock()) if self.plugged else None
            watched = [self._wake[0], *([] if fd is None else [fd])]
            try:
                ready, _, _ = select.select(watched, [], [], IDLE_S if wait_s is None else wait_s)
            except (OSError, ValueError):
                continue
            if self._wake[0] in ready:
                os.read(self._wake[0], READ)
            with self.lock, contextlib.suppress(OSError):
                self._turn(heard=fd is not None and fd in ready)

    def _turn(self, *, heard: bool) -> None:
        now = self.clock()
        said = self.virtual.hear(self._take(), now) if heard else b""
        if not self.plugged:
            return
        said += self.virtual.due(now)
        if self._owed:
            self._owed = self._owed[self._send(self._owed) :]
        if said and not self._owed:
            self._owed = said[self._send(said) :]
        if len(self._owed) > READ:
            self._owed = b""


class PtyPlayer(Player):
    """On a pseudo-terminal. The port's name is a link that stays the same when it is unplugged and plugged again."""

    def __init__(self, virtual: VirtualInstrument, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__(virtual, clock)
        self._folder = tempfile.TemporaryDirectory(prefix="risewalk-port-")
        self._link = Path(self._folder.name) / "level"
        self.port = str(self._link)
        self._ends: tuple[int, int] | None = None

    def __exit__(self, *exception: object) -> None:
        """Stop playing, unplug, and take the name away."""
        super().__exit__(*exception)
        self._folder.cleanup()

    @property
    def plugged(self) -> bool:
        """Whether the pseudo-terminal is there."""
        return self._ends is not None

    @property
    def device(self) -> str:
        """Where the link leads now."""
        return os.readlink(self._link)

    def plug(self) -> None:
        """Open a pseudo-terminal under the old name."""
        with self.lock:
            if self._ends is not None:
                return
            instrument_end, port_end = pty.openpty()
            tty.setraw(port_end)
            os.set_blocking(instrument_end, False)
            self._link.symlink_to(os.ttyname(port_end))
            self._ends = (instrument_end, port_end)
            self._owed = b""
            self.virtual.restart()
            self._nudge()

    def unplug(self) -> None:
        """Close the pseudo-terminal; who reads it is told."""
        with self.lock:
            if self._ends is None:
                return
            self._link.unlink(missing_ok=True)
            for fd in self._ends:
                os.close(fd)
            self._ends = None

    def _descriptor(self) -> int | None:
        return self._ends[0] if self._ends is not None else None

    def _take(self) -> bytes:
        return os.read(self._ends[0], READ) if self._ends is not None else b""

    def _send(self, data: bytes) -> int:
        try:
            return os.write(self._ends[0], data) if self._ends is not None else 0
        except BlockingIOError:
            return 0


class TcpPlayer(Player):
    """On a TCP port of this machine, as serial servers offer; one caller at a time."""

    def __init__(
        self, virtual: VirtualInstrument, clock: Callable[[], float] = time.monotonic, *, number: int = 0
    ) -> None:
        super().__init__(virtual, clock)
        self._number = number
        self._server: socket.socket | None = None
        self._caller: socket.socket | None = None

    @property
    def plugged(self) -> bool:
        """Whether somebody has called."""
        return self._caller is not None

    def plug(self) -> None:
        """Listen, on the same port as before."""
        with self.lock:
            if self._server is None:
                self._server = socket.create_server(("127.0.0.1", self._number))
                self._number = self._server.getsockname()[1]
                self.port = f"socket://127.0.0.1:{self._number}"
                self._nudge()

    def unplug(self) -> None:
        """Hang up and stop listening."""
        with self.lock:
            for open_socket in (self._caller, self._server):
                if open_socket is not None:
                    open_socket.close()
            self._caller = self._server = None

    def _descriptor(self) -> int | None:
        waiting = self._caller or self._server
        return waiting.fileno() if waiting is not None else None

    def _take(self) -> bytes:
        if self._caller is None:
            if self._server is not None:
                self._caller, _ = self._server.accept()
                self._caller.setblocking(False)
                self._owed = b""
                self.virtual.restart()
            return b""
        data = self._caller.recv(READ)
        if not data:
            self._caller.close()
            self._caller = None
        return data

    def _send(self, data: bytes) -> int:
        if self._caller is None:
            return 0
        try:
            return self._caller.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._caller.close()
            self._caller = None
            return 0
