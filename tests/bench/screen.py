"""What the screen costs: from the last reading of a tag to its being shown, its CPU beside an app that shows the number
alone, start to first reading beside the instrument's own, and how often it paints.

    python tests/bench/screen.py [--rounds N]

The bench is the instrument (heights on a pseudo-terminal, ten a second) and the terminal (80x24) in which the app runs.
"""

import argparse
import contextlib
import itertools
import os
import pty
import random
import re
import select
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fcntl import ioctl
from pathlib import Path

HERE = Path(__file__)
LEVEL = r"""
[instrument]
name = "Bench level"
[decoder]
kind = "lines"
pattern = '^(?P<height>[+-]?\d+\.\d+) (?P<unit>m)$'
[height]
unit = "m"
resolution = "0.1 mm"
accuracy = "1 mm"
[settle]
window = "0.2 s"
spread = "3 mm"
"""
RATE_HZ = 10.0
PATIENCE_S = 30.0
ESCAPES = re.compile(r"(\x1b\[[\d;?]*[A-Za-z])+")
WATCHED = b"Taken and saved"


class Instrument:
    """Heights on a pseudo-terminal; when each was written is kept."""

    def __init__(self, rate_hz: float = RATE_HZ) -> None:
        self.rate_hz = rate_hz
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        self.port = os.ttyname(self._theirs)
        os.set_blocking(self._ours, False)
        self.written: list[float] = []
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._speak, daemon=True)
        self._thread.start()

    def _speak(self) -> None:
        due, noise = time.perf_counter(), random.Random(7)
        while not self._ended.wait(max(0.0, due - time.perf_counter())):
            with contextlib.suppress(BlockingIOError):
                os.write(self._ours, f"{noise.gauss(1.0, 0.0005):.4f} m\r\n".encode())
                self.written.append(time.perf_counter())
            due += 1 / self.rate_hz

    def after(self, moment: float) -> float | None:
        """When the first reading after a moment was written."""
        return next((t for t in self.written if t > moment), None)

    def close(self) -> None:
        self._ended.set()
        self._thread.join()
        os.close(self._ours)
        os.close(self._theirs)


class Screen:
    """A program in a terminal of 80x24, whose output comes here."""

    def __init__(self, words: list[str], folder: Path) -> None:
        self.pid, self._line = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            os.environ.update(TERM="xterm-256color", COLORTERM="truecolor")
            os.execv(words[0], words)
        ioctl(self._line, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.paints: list[float] = []
        self.seen = b""

    def read(self, seconds: float) -> bytes:
        """What comes in so many seconds at most; empty when nothing does."""
        ready, _, _ = select.select([self._line], [], [], seconds)
        try:
            data = os.read(self._line, 65536) if ready else b""
        except OSError:
            data = b""
        if data:
            self.paints.append(time.perf_counter())
            self.seen = (self.seen + data)[-200_000:]
        return data

    def until(self, words: bytes) -> float:
        """When words are shown."""
        deadline = time.perf_counter() + PATIENCE_S
        while words not in self.seen:
            if time.perf_counter() > deadline:
                text = ESCAPES.sub("|", self.seen[-20_000:].decode(errors="replace"))
                raise SystemExit(f"never shown: {words!r}; instead {' '.join(text.split())}")
            self.read(0.2)
        return self.paints[-1]

    def rest(self, seconds: float) -> None:
        """Let it paint."""
        end = time.perf_counter() + seconds
        while (left := end - time.perf_counter()) > 0:
            self.read(left)

    def press(self, keys: bytes) -> float:
        """Press keys, nothing of what was shown before counting; when."""
        self.seen = b""
        os.write(self._line, keys)
        return time.perf_counter()

    @property
    def cpu_s(self) -> float:
        """CPU the process has used."""
        fields = Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def close(self) -> None:
        os.kill(self.pid, signal.SIGTERM)
        end = time.perf_counter() + 5.0
        while time.perf_counter() < end and os.waitpid(self.pid, os.WNOHANG)[0] == 0:
            self.read(0.05)
        os.close(self._line)


class Bench:
    """One folder with an instrument, and walks in it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.instrument = Instrument()
        (folder / "level.toml").write_text(LEVEL)

    def words(self, session: str) -> list[str]:
        """The command a user would type."""
        port = ["--port", self.instrument.port, "--instrument", "level.toml"]
        return [sys.executable, "-m", "tui.cli", "walk", session, *port, "--units", "m", "--tape", "level"]

    @contextmanager
    def walk(self, session: str) -> Iterator[Screen]:
        """The screen on a session, the check list read and the zero taken; its recorder is ended."""
        screen = Screen(self.words(session), self.folder)
        try:
            screen.until(b"ENTER goes on")
            screen.press(b"\r")
            screen.until(b"zero on BM")
            screen.press(b" ")
            screen.until(WATCHED)
            yield screen
        finally:
            screen.close()
            self.end(session)

    def end(self, session: str) -> None:
        """End the session's recorder, so that the port is free."""
        subprocess.run([sys.executable, str(HERE), "--end", session], cwd=self.folder, check=True)


def percentile(values: list[float], part: float) -> float:
    return sorted(values)[min(len(values) - 1, int(part * len(values)))]


def tags(bench: Bench, rounds: int) -> None:
    """From the last reading a tag needs to committed and shown."""
    taken = []
    with bench.walk("tags.walk") as screen:
        for _ in range(rounds):
            pressed = screen.press(b"f")
            shown = screen.until(WATCHED)
            reading = bench.instrument.after(pressed)
            if reading is not None and reading < shown:
                taken.append((shown - reading) * 1e3)
            screen.rest(0.137)
    middle, slow = statistics.median(taken), percentile(taken, 0.95)
    print(
        f"last reading to committed and shown: median {middle:.0f} ms, 95th percentile {slow:.0f} ms ({len(taken)} tags)"
    )


def cpu(bench: Bench, rounds: int, seconds: float = 8.0) -> None:
    """CPU beside an app that shows the number alone, both on the same recorder at the same time."""
    with bench.walk("cpu.walk") as screen:
        alone = Screen([sys.executable, str(HERE), "--alone", "cpu.walk"], bench.folder)
        alone.until(b"m")
        other = threading.Thread(target=lambda: alone.rest(2.0 + rounds * seconds), daemon=True)
        other.start()
        screen.rest(2.0)
        pairs, paints = [], []
        for _ in range(rounds):
            before = (screen.cpu_s, alone.cpu_s)
            screen.paints.clear()
            screen.rest(seconds)
            pairs.append(((screen.cpu_s - before[0]) / seconds, (alone.cpu_s - before[1]) / seconds))
            paints.append(bursts(screen.paints) / seconds)
        other.join()
        alone.close()
    ours, theirs = (statistics.median(side) * 100 for side in zip(*pairs, strict=True))
    ratio = statistics.median(a / b for a, b in pairs)
    print(f"CPU at 10 Hz: the walk {ours:.1f} % of a core, the number alone {theirs:.1f} %, ratio {ratio:.2f}")
    print(f"paints a second: {statistics.median(paints):.1f}")


def bursts(times: list[float], apart_s: float = 0.02) -> int:
    """How many times something was painted: output that comes together is one."""
    return sum(after - before > apart_s for before, after in itertools.pairwise(times)) + bool(times)


def start(bench: Bench, rounds: int) -> None:
    """Start to first live reading, beside a bare read of the same port."""
    pairs = []
    for i in range(rounds):
        begun = time.perf_counter()
        words = f"import os, sys; fd = os.open({bench.instrument.port!r}, os.O_RDONLY | os.O_NOCTTY); os.read(fd, 1)"
        subprocess.run([sys.executable, "-c", words], check=True)
        bare = time.perf_counter() - begun
        begun = time.perf_counter()
        screen = Screen(bench.words(f"start{i}.walk"), bench.folder)
        live = _first(screen, (b"steady ", b"moving "))
        pairs.append((bare, live - begun))
        screen.close()
        bench.end(f"start{i}.walk")
    bare, whole = (statistics.median(side) for side in zip(*pairs, strict=True))
    print(f"start to first live reading: {whole:.2f} s, a bare read of the port {bare:.2f} s ({rounds} pairs)")


def _first(screen: Screen, words: tuple[bytes, ...]) -> float:
    deadline = time.perf_counter() + PATIENCE_S
    while not any(each in screen.seen for each in words):
        if time.perf_counter() > deadline:
            raise SystemExit(f"never live: {screen.seen[-500:]!r}")
        screen.read(0.2)
    return screen.paints[-1]


def alone(session: str) -> None:
    """The other side: an app that shows the number the recorder tells, and nothing else."""
    from textual.app import App, ComposeResult
    from textual.widgets import Digits

    from logger.recorder.client import attach

    class Number(App[None]):
        def compose(self) -> ComposeResult:
            yield Digits("0")

        async def on_mount(self) -> None:
            self.run_worker(self._follow())

        async def _follow(self) -> None:
            client = await attach(Path(session))
            assert client is not None
            await client.ask("watch on")
            async for event in client.events():
                if event.get("event") == "reading":
                    self.query_one(Digits).update(f"{event['above_zero_m'] or 0.0:+.4f}")

    Number().run()


def end(session: str) -> None:
    """End a session's recorder."""
    import asyncio

    from logger.recorder.client import attach

    async def ended() -> None:
        client = await attach(Path(session))
        if client is not None:
            with contextlib.suppress(ConnectionError):
                await client.ask("end")
            await client.close()

    asyncio.run(ended())


def main() -> None:
    """Print all figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--rounds", type=int, default=5)
    for other in ("--alone", "--end"):
        parser.add_argument(other, help=argparse.SUPPRESS)
    given = parser.parse_args()
    sides: dict[str, Callable[[str], None]] = {"alone": alone, "end": end}
    for name, side in sides.items():
        if session := getattr(given, name):
            side(session)
            return
    with tempfile.TemporaryDirectory(prefix="risewalk-bench-") as folder:
        os.environ.update(dict.fromkeys(("XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME"), folder))
        bench = Bench(Path(folder))
        start(bench, given.rounds)
        tags(bench, 20 * given.rounds)
        cpu(bench, given.rounds)
        bench.instrument.close()


if __name__ == "__main__":
    main()
