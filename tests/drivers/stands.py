"""An instrument at the end of each registered transport, for the rules that every transport keeps."""

import asyncio
import sys
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from io import BytesIO
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "ble"))

from ble_bench import elevation_level, sends, until, waiting_for_the_bus
from fake_bluez import FakeBluez
from private_bus import PrivateBus

from drivers.instrument import InstrumentFile, load
from drivers.simulator.players import Player, PtyPlayer, TcpPlayer
from drivers.simulator.virtual import VirtualInstrument
from drivers.transports import Transport, serial_port
from drivers.transports.simulated import SimulatedTransport
from logger.session.events import raw_draft
from logger.session.packing import RawChunk
from logger.session.store import Session

RATE_HZ = 200


class Stand:
    """One instrument that talks; `missing` is a port of the same kind where nothing is.

    `one_owner`: a second one who opens it is refused.
    """

    port = missing = ""
    instrument: InstrumentFile = load("ascii-lines")
    one_owner = True

    def lose(self, link: Transport) -> None:
        """Cut the line."""
        raise AssertionError("this line is not cut")

    def restore(self) -> None:
        """Mend it, where that needs anything."""
        return

    def block(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Have the next opening never end."""
        raise AssertionError("this opens at once")

    @property
    def blocks(self) -> bool:
        """Whether somebody is waiting for it to open."""
        return False

    def unblock(self) -> None:
        """Let what still waits go."""
        return


class PlayedStand(Stand):
    """A virtual instrument at a port of the operating system."""

    def __init__(self, player: Player, missing: str) -> None:
        self.player = player
        self.port, self.missing = player.port, missing
        self.one_owner = isinstance(player, PtyPlayer)
        self._asked, self._let_go = threading.Event(), threading.Event()

    def lose(self, link: Transport) -> None:
        self.player.unplug()

    def restore(self) -> None:
        self.player.plug()

    def block(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def never(*_: object) -> BytesIO:
            self._asked.set()
            self._let_go.wait()
            return BytesIO()

        monkeypatch.setattr(serial_port, "open_serial", never)

    @property
    def blocks(self) -> bool:
        return self._asked.is_set()

    def unblock(self) -> None:
        self._let_go.set()


class SimulatedStand(Stand):
    port, missing = f"sim://lines?rate={RATE_HZ}", "sim://nobody"

    def lose(self, link: Transport) -> None:
        assert isinstance(link, SimulatedTransport)
        link.lose()


class RecordedStand(Stand):
    one_owner = False

    def __init__(self, session: Path) -> None:
        self.port, self.missing = f"replay://{session}", "replay:///nowhere.walk"


class RadioStand(Stand):
    port, missing = "ble://LEVEL", "ble://NOBODY"
    instrument = load("ble-elevation")

    def __init__(self, bluez: FakeBluez) -> None:
        self.bluez = bluez
        self.level = elevation_level()
        bluez.bring(self.level)

    def lose(self, link: Transport) -> None:
        self.bluez.hang_up(self.level)

    def block(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.level.fault = "deaf"

    @property
    def blocks(self) -> bool:
        return any(called == "Connect" for called, _ in self.bluez.calls)


@asynccontextmanager
async def on_a_terminal(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Stand]:
    with PtyPlayer(VirtualInstrument(speak="lines", seed=1, rate_hz=RATE_HZ)) as player:
        yield PlayedStand(player, "/dev/ttyUSB77")


@asynccontextmanager
async def on_a_socket(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Stand]:
    with TcpPlayer(VirtualInstrument(speak="lines", seed=1)) as gone:
        missing = gone.port
    with TcpPlayer(VirtualInstrument(speak="lines", seed=1, rate_hz=RATE_HZ)) as player:
        yield PlayedStand(player, missing)


@asynccontextmanager
async def in_this_process(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Stand]:
    yield SimulatedStand()


@asynccontextmanager
async def in_a_file(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Stand]:
    path = folder / "a.walk"
    with Session.create(path) as session:
        lines = [RawChunk(i * 1_000_000 // RATE_HZ, f"+{i % 50:03d}.00 in\r\n".encode(), "") for i in range(4000)]
        session.append([raw_draft(0, lines)])
    yield RecordedStand(path)


@asynccontextmanager
async def over_the_air(folder: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Stand]:
    PrivateBus.require()
    bus = PrivateBus(folder)
    bus.start()
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", bus.address)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    monkeypatch.setattr("drivers.transports.ble.last_addresses", {})
    monkeypatch.setattr("drivers.transports.ble.SEARCH_S", 0.5)
    monkeypatch.setattr("drivers.ble_search.TWINS_S", 0.1)
    bluez = FakeBluez(bus.address)
    await bluez.start()
    stand = RadioStand(bluez)
    heights = [n.to_bytes(3, "little") for n in range(200)]
    sending = asyncio.create_task(sends(bluez, stand.level, "2a6c", heights))
    yield stand
    sending.cancel()
    await asyncio.gather(sending, return_exceptions=True)
    await bluez.kill()
    bus.stop()
    await until(lambda: not waiting_for_the_bus())


STANDS = {
    "serial": on_a_terminal,
    "serial, a socket": on_a_socket,
    "sim": in_this_process,
    "replay": in_a_file,
    "ble": over_the_air,
}
"""By the name of the transport; one that reaches devices in several ways is here more than once."""
CUT = [name for name in STANDS if name != "replay"]
"""A recording is no line that can be cut."""
BLOCKING = [name for name in CUT if name != "sim"]
"""Opening may take for ever; what is in this process opens at once."""
