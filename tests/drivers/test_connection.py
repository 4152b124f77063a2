"""The line to an instrument: its words, its faults, cables pulled in mid-line, a thousand replugs, quick cancels."""

import asyncio
import gc
import os
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from io import BytesIO
from pathlib import Path

import pytest
import serial
import serial.rfc2217

from drivers.connection import Connection, Patience
from drivers.errors import PortBusy, PortDenied, PortError, PortMissing, PortSilent
from drivers.instrument import InstrumentFile, from_tables, load
from drivers.ports import Identity, PortFinder, PortSeen
from drivers.reading import Chunk, Link, LinkChanged
from drivers.registry import list_transports, make_decoder, make_transport
from drivers.simulator.players import PtyPlayer, TcpPlayer
from drivers.simulator.virtual import VirtualInstrument
from drivers.transports import serial_port
from drivers.transports.serial_faults import port_error

QUICK = Patience(opening=2.0, silence=0.6, stale=0.2, pause=0.01, longest_pause=0.05)


def level(speak: str = "lines", rate_hz: float = 200) -> VirtualInstrument:
    return VirtualInstrument(speak=speak, seed=1, rate_hz=rate_hz)


@asynccontextmanager
async def connected(connection: Connection) -> AsyncIterator[AsyncIterator[Chunk | LinkChanged]]:
    events = connection.events()
    try:
        yield events
    finally:
        await connection.close()
        await events.aclose()  # type: ignore[attr-defined]


async def until(
    events: AsyncIterator[Chunk | LinkChanged], wanted: Callable[[Chunk | LinkChanged], bool], within_s: float = 5.0
) -> list[Chunk | LinkChanged]:
    """The events up to the first one wanted."""
    seen = []
    async with asyncio.timeout(within_s):
        async for event in events:
            seen.append(event)
            if wanted(event):
                return seen
    raise AssertionError(f"ended after {seen[-3:]}")


def is_state(*states: Link) -> Callable[[Chunk | LinkChanged], bool]:
    return lambda event: isinstance(event, LinkChanged) and event.state in states


def is_chunk(event: Chunk | LinkChanged) -> bool:
    return isinstance(event, Chunk)


@pytest.fixture
def player() -> Iterator[PtyPlayer]:
    with PtyPlayer(level()) as playing:
        assert isinstance(playing, PtyPlayer)
        yield playing


async def test_words_of_the_line(player: PtyPlayer) -> None:
    async with connected(Connection(player.port, load("ascii-lines"), patience=QUICK)) as events:
        seen = await until(events, is_chunk)
        assert [e.state for e in seen if isinstance(e, LinkChanged)] == [Link.SEARCHING, Link.OPENING, Link.LIVE]


async def test_pulled_in_mid_line_and_back(player: PtyPlayer) -> None:
    connection = Connection(player.port, load("ascii-lines"), patience=QUICK)
    async with connected(connection) as events:
        await until(events, is_chunk)
        player.unplug()
        lost = await until(events, is_state(Link.LOST))
        assert "cut" in lost[-1].why
        await until(events, is_state(Link.WAITING))
        player.plug()
        await until(events, is_state(Link.LIVE))
        await until(events, is_chunk)


async def test_stale_then_lost_where_it_falls_silent(player: PtyPlayer) -> None:
    async with connected(Connection(player.port, load("ascii-lines"), patience=QUICK)) as events:
        await until(events, is_chunk)
        with player.lock:
            player.virtual.period_s = 1e6
            player.virtual.restart()
        await until(events, is_state(Link.STALE))
        lost = await until(events, is_state(Link.LOST))
        assert "nothing was heard" in lost[-1].why


async def raised(port: str, instrument: InstrumentFile | None = None, **kind: object) -> PortError:
    connection = Connection(port, instrument or load("ascii-lines"), patience=QUICK, **kind)
    try:
        async with connected(connection) as events:
            async for _ in events:
                pass
    except PortError as error:
        return error
    raise AssertionError("it opened and talked")


async def test_missing_port() -> None:
    error = await raised("/dev/ttyUSB77")
    assert isinstance(error, PortMissing)
    assert "risewalk ports" in str(error)


async def test_file_that_is_no_port(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("x")
    assert isinstance(await raised(str(tmp_path / "notes")), PortMissing)


async def test_busy_port_names_who_may_hold_it(player: PtyPlayer) -> None:
    async with connected(Connection(player.port, load("ascii-lines"), patience=QUICK)) as events:
        await until(events, is_chunk)
        error = await raised(player.port)
        assert isinstance(error, PortBusy)
        assert "holds it" in str(error)


async def test_silent_port() -> None:
    with PtyPlayer(level("polled")) as silent:
        error = await raised(silent.port)
        assert isinstance(error, PortSilent)
        assert "[ask]" in str(error)


def test_denied_port_says_which_group() -> None:
    error = port_error("/dev/null", PermissionError(13, "Permission denied"))
    assert isinstance(error, PortDenied)
    assert "usermod -aG" in str(error)


async def test_scheme_nobody_serves() -> None:
    error = await raised("pigeon://coop")
    assert isinstance(error, PortMissing)
    assert "known are serial" in str(error)


async def test_asked_instrument_answers(player: PtyPlayer) -> None:
    for speak in ("polled", "scpi", "modbus", "pressure-modbus"):
        with PtyPlayer(level(speak)) as asked:
            instrument = load(asked.virtual.instrument)
            decoder = make_decoder(instrument)
            async with connected(Connection(asked.port, instrument, patience=QUICK)) as events:
                await until(events, lambda e, d=decoder: isinstance(e, Chunk) and len(d.feed(e)) > 0)


async def test_adapter_back_under_another_name(player: PtyPlayer) -> None:
    adapter = Identity(0x1234, 0x0001, "A1", "1-1.2")
    other = Identity(0x1234, 0x0001, "A2", "1-1.3")
    with PtyPlayer(level()) as second:
        listed = [PortSeen(player.device, "", adapter), PortSeen("/dev/ttyUSB9", "", other)]
        finder = PortFinder(lambda: list(listed))
        async with connected(Connection(player.device, load("ascii-lines"), patience=QUICK, finder=finder)) as events:
            await until(events, is_chunk)
            listed[:] = [PortSeen("/dev/ttyUSB9", "", other)]
            player.unplug()
            await until(events, is_state(Link.LOST))
            await until(events, lambda e: isinstance(e, LinkChanged) and "not plugged in" in e.why)
            listed.append(PortSeen(second.device, "", adapter))
            back = await until(events, is_state(Link.LIVE))
            assert any(isinstance(e, LinkChanged) and e.why == second.device for e in back)


def test_identity_by_serial_number_else_by_place() -> None:
    assert Identity(1, 2, "A", "1-1").matches(Identity(1, 2, "A", "2-4"))
    assert not Identity(1, 2, "A", "1-1").matches(Identity(1, 2, "B", "1-1"))
    assert Identity(1, 2, None, "1-1").matches(Identity(1, 2, None, "1-1"))
    assert not Identity(1, 2, None, "1-1").matches(Identity(1, 2, None, "1-2"))
    assert not Identity().matches(Identity())


async def test_over_tcp() -> None:
    with TcpPlayer(level()) as remote:
        async with connected(Connection(remote.port, load("ascii-lines"), patience=QUICK)) as events:
            await until(events, is_chunk)
            remote.unplug()
            await until(events, is_state(Link.LOST))
            remote.plug()
            await until(events, is_state(Link.LIVE))


async def test_nobody_listens_at_the_socket() -> None:
    with TcpPlayer(level()) as remote:
        port = remote.port
    assert isinstance(await raised(port), PortMissing)


class WithModemLines(serial.Serial):
    """A pseudo-terminal has none, and the server asks for them."""

    cts = dsr = cd = property(lambda _: True)
    ri = property(lambda _: False)
    _update_dtr_state = _update_rts_state = _update_break_state = lambda _: None


class RemoteSerial:
    """pyserial's own server of RFC 2217 on a pseudo-terminal."""

    def __init__(self, port: str) -> None:
        import socket

        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = f"rfc2217://127.0.0.1:{self.server.getsockname()[1]}"
        self.line = WithModemLines(port, timeout=0.05)
        self.stop = threading.Event()
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def write(self, data: bytes) -> None:
        self.caller.sendall(data)

    def serve(self) -> None:
        self.caller, _ = self.server.accept()
        self.caller.settimeout(0.02)
        manager = serial.rfc2217.PortManager(self.line, self)
        while not self.stop.is_set():
            try:
                data = self.caller.recv(1024)
                if not data:
                    break
                self.line.write(b"".join(manager.filter(data)))
            except TimeoutError:
                pass
            except OSError:
                break
            heard = self.line.read(self.line.in_waiting or 1)
            if heard:
                try:
                    self.write(b"".join(manager.escape(heard)))
                except OSError:
                    break

    def close(self) -> None:
        self.stop.set()
        self.thread.join()
        self.caller.close()
        self.server.close()
        self.line.close()


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
async def test_over_rfc2217(player: PtyPlayer) -> None:
    remote = RemoteSerial(player.port)
    try:
        patience = Patience(opening=8.0, silence=3.0, stale=1.0)
        async with connected(Connection(remote.port, load("ascii-lines"), patience=patience)) as events:
            await until(events, is_chunk, 10)
    finally:
        remote.close()


async def test_loop_gives_back_what_is_sent() -> None:
    transport = make_transport("loop://", load("ascii-lines"))
    await transport.open()
    await transport.write(b"+1.00 in\r\n")
    async with asyncio.timeout(3):
        chunks = transport.chunks()
        data = b""
        while not data.endswith(b"\n"):
            data += (await anext(chunks)).data
    assert data == b"+1.00 in\r\n"
    await transport.close()


async def test_serial_settings_reach_the_port(player: PtyPlayer) -> None:
    import termios

    document = {
        "instrument": {"name": "t"},
        "decoder": {"kind": "lines", "pattern": r"(?P<height>\d+)"},
        "serial": {"baud": 2400, "bits": 7, "parity": "even", "stop": 2, "wait": "10 ms"},
    }
    transport = make_transport(player.port, from_tables(document, "test"))
    await transport.open()
    fd = os.open(player.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    flags = termios.tcgetattr(fd)
    os.close(fd)
    await transport.close()
    assert flags[4] == flags[5] == termios.B2400
    assert flags[2] & termios.CSTOPB
    assert not flags[2] & termios.CRTSCTS


def descriptors() -> int:
    return len(os.listdir("/proc/self/fd"))


async def test_a_thousand_replugs_leave_nothing(player: PtyPlayer) -> None:
    patience = Patience(opening=2.0, silence=5.0, stale=2.0, pause=0.001, longest_pause=0.002)
    connection = Connection(player.port, load("ascii-lines"), patience=patience)
    with player.lock:
        player.virtual.period_s = 0.002
    async with connected(connection) as events:
        await until(events, is_chunk)
        await cycle(player, events, 10)
        gc.collect()
        before = (descriptors(), len(asyncio.all_tasks()), threading.active_count())
        await cycle(player, events, 1000)
        await until(events, is_chunk)
        gc.collect()
        after = (descriptors(), len(asyncio.all_tasks()), threading.active_count())
    assert all(b <= a + 1 for a, b in zip(before, after, strict=True)), (before, after)


async def cycle(player: PtyPlayer, events: AsyncIterator[Chunk | LinkChanged], count: int) -> None:
    for _ in range(count):
        player.unplug()
        await until(events, is_state(Link.LOST))
        player.plug()
        await until(events, is_state(Link.LIVE))


async def test_no_reading_is_invented_or_doubled_by_replugs() -> None:
    """The instrument counts its lines; what is decoded must be a subset in order, each at most once."""
    with PtyPlayer(Counting(level(rate_hz=500))) as player:
        decoder, got = make_decoder(load("ascii-lines-metres")), []
        async with connected(Connection(player.port, load("ascii-lines-metres"), patience=QUICK)) as events:
            for cycles in range(1, 31):
                wanted = 3 * cycles
                async for event in events:
                    if isinstance(event, LinkChanged) and event.state is Link.LOST:
                        decoder.reset()
                    elif isinstance(event, Chunk):
                        got += [round(r.height_m * 10000) for r in decoder.feed(event)]
                        if len(got) >= wanted:
                            break
                player.unplug()
                await until(events, is_state(Link.LOST))
                decoder.reset()
                player.plug()
                await until(events, is_state(Link.LIVE))
    assert len(got) >= 90
    assert got == sorted(set(got))
    assert got[-1] <= player.virtual.count


class Counting(VirtualInstrument):
    """Says the number of the line as its height."""

    def __init__(self, like: VirtualInstrument) -> None:
        super().__init__(speak="lines", rate_hz=1 / like.period_s)
        self.count = 0

    def due(self, now_s: float) -> bytes:
        lines = super().due(now_s).count(b"\n")
        said = b"".join(f"{(self.count + i + 1) / 10000:+.4f} m\r\n".encode() for i in range(lines))
        self.count += lines
        return said


@pytest.mark.parametrize("state", [Link.SEARCHING, Link.OPENING, Link.LIVE, Link.STALE, Link.WAITING])
async def test_cancel_is_quick_in_every_state(player: PtyPlayer, state: Link, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked = threading.Event()
    patience = Patience(opening=60, silence=60, stale=0.1, pause=30, longest_pause=30)
    finder = PortFinder()
    if state is Link.OPENING:
        monkeypatch.setattr(serial_port, "open_serial", lambda *_: BytesIO() if blocked.wait() else None)
    if state is Link.SEARCHING:

        def listing() -> list[PortSeen]:
            blocked.wait()
            return []

        finder = PortFinder(listing)
    connection = Connection(player.port, load("ascii-lines"), patience=patience, finder=finder)
    reached = asyncio.Event()

    async def follow() -> None:
        async for event in connection.events():
            if isinstance(event, LinkChanged) and event.state is state:
                reached.set()
            if isinstance(event, Chunk) and state is Link.WAITING:
                player.unplug()
            if isinstance(event, Chunk) and state is Link.STALE:
                with player.lock:
                    player.virtual.period_s = 1e6

    task = asyncio.ensure_future(follow())
    async with asyncio.timeout(5):
        await reached.wait()
    await asyncio.sleep(0)
    begun = time.perf_counter()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await connection.close()
    taken = time.perf_counter() - begun
    blocked.set()
    assert taken < 0.2


async def test_reader_does_not_wait_for_a_slow_consumer() -> None:
    with PtyPlayer(Counting(level(rate_hz=5000))) as player:
        decoder, got = make_decoder(load("ascii-lines-metres")), []
        async with connected(Connection(player.port, load("ascii-lines-metres"))) as events:
            await until(events, is_chunk)
            threading.Event().wait(1.0)
            async with asyncio.timeout(5):
                async for event in events:
                    if isinstance(event, Chunk):
                        got += [round(r.height_m * 10000) for r in decoder.feed(event)]
                        if len(got) > 4000:
                            break
    assert got == list(range(got[0], got[0] + len(got))), "a stalled event loop cost lines"


@pytest.mark.parametrize("name", [t.name for t in list_transports()])
async def test_every_transport_names_what_is_missing(name: str) -> None:
    if name == "ble":
        pytest.skip("needs a Bluetooth adapter or its stand-in; see tests/drivers/ble")
    port = {"serial": "/dev/ttyUSB77", "sim": "sim://nobody", "replay": "replay:///nowhere.walk"}.get(
        name, f"{name}://nobody"
    )
    transport = make_transport(port, load("ascii-lines"))
    with pytest.raises(Exception) as caught:
        await transport.open()
    assert not isinstance(caught.value, AttributeError | TypeError | KeyError)
    await transport.close()
    await transport.close()


async def test_simulated_transport_talks_answers_and_can_be_lost() -> None:
    for port, name in (("sim://lines?rate=100", "ascii-lines"), ("sim://modbus", "modbus-float")):
        instrument = load(name)
        decoder = make_decoder(instrument)
        async with connected(Connection(port, instrument, patience=QUICK)) as events:
            await until(events, lambda e, d=decoder: isinstance(e, Chunk) and len(d.feed(e)) > 0)
            assert isinstance(await raised(port, instrument), PortBusy)
