"""Ways to an instrument: TCP, RFC 2217, loop, simulated; serial settings; a reader that waits for nobody."""

import asyncio
import os
import threading

import pytest
import serial
import serial.rfc2217
from link_bench import QUICK, Counting, connected, is_chunk, is_state, level, raised, until

from drivers.connection import Connection, Patience
from drivers.errors import PortBusy
from drivers.instrument import from_tables, load
from drivers.reading import Chunk, Link
from drivers.registry import list_transports, make_decoder, make_transport
from drivers.simulator.players import PtyPlayer, TcpPlayer


async def test_over_tcp() -> None:
    with TcpPlayer(level()) as remote:
        async with connected(Connection(remote.port, load("ascii-lines"), patience=QUICK)) as events:
            await until(events, is_chunk)
            remote.unplug()
            await until(events, is_state(Link.LOST))
            remote.plug()
            await until(events, is_state(Link.LIVE))


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


@pytest.mark.parametrize("name", [t.name for t in list_transports() if t.name != "ble"])
async def test_every_transport_names_what_is_missing(name: str) -> None:
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
