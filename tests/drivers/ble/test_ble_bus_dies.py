"""The message bus itself dies or hangs under a link: the link says so, and nothing holds up the end of the program."""

import asyncio
import gc
import signal
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from ble_bench import elevation_level, instrument, opened, take, until, waiting_for_the_bus
from fake_bluez import FakeBluez
from private_bus import PrivateBus

from drivers.errors import PortError, PortLost, PortSilent
from drivers.radio import leaving
from drivers.transports import ble as ble_module
from drivers.transports.ble import BleTransport

Story = Callable[[PrivateBus, FakeBluez], Awaitable[None]]


@contextmanager
def ended_within(seconds: float) -> Iterator[None]:
    """What is inside may not take longer; a loop that never ends would have the test's own time limit end it."""
    begun = time.monotonic()
    yield
    assert time.monotonic() - begun < seconds


@pytest.fixture
def played(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Story], None]]:
    """Play a story in an event loop of its own, as the program has one; the daemon is ended after the loop."""
    PrivateBus.require()
    daemons: list[PrivateBus] = []

    async def begin(story: Story) -> None:
        bus = PrivateBus(tmp_path)
        daemons.append(bus)
        bus.start()
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", bus.address)
        monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
        monkeypatch.setattr("drivers.ble_search.TWINS_S", 0.1)
        monkeypatch.setattr("drivers.transports.ble.last_addresses", {})
        bluez = FakeBluez(bus.address)
        await bluez.start()
        bluez.bring(elevation_level())
        await story(bus, bluez)
        await bluez.kill()

    yield lambda story: asyncio.run(begin(story))
    for bus in daemons:
        bus.stop()
    gc.collect()  # futures of the dead bus that nobody asked are told of here, not in the middle of something else


async def buried(bus: PrivateBus) -> None:
    bus.stop()
    await until(lambda: not waiting_for_the_bus() and not leaving)


ABANDONED = """
import asyncio, os, sys, time
from pathlib import Path
sys.path[:0] = [sys.argv[1]]
from ble_bench import elevation_level, instrument
from fake_bluez import FakeBluez
from private_bus import PrivateBus
from drivers.transports.ble import BleTransport

async def story(bus):
    bluez = FakeBluez(bus.address)
    await bluez.start()
    bluez.bring(elevation_level())
    await BleTransport("ble://LEVEL", instrument()).open()
    bus.send(int(sys.argv[2]))
    return time.monotonic()

bus = PrivateBus(Path(sys.argv[3]))
os.environ |= {"DBUS_SYSTEM_BUS_ADDRESS": bus.address, "XDG_RUNTIME_DIR": sys.argv[3]}
bus.start()
since = asyncio.run(story(bus))
print(time.monotonic() - since)
bus.stop()
"""


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGSTOP])
def test_a_link_that_nobody_closed_does_not_hold_up_the_end(tmp_path: Path, end: signal.Signals) -> None:
    PrivateBus.require()
    words = [sys.executable, "-c", ABANDONED, str(Path(__file__).parent), str(int(end)), str(tmp_path)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) < 5


def test_a_killed_bus_is_a_lost_link_and_closing_is_quick(played: Callable[[Story], None]) -> None:
    async def story(bus: PrivateBus, _: FakeBluez) -> None:
        async with opened() as link:
            bus.send(signal.SIGKILL)
            with pytest.raises(PortLost):
                await take(link, 99)
            with ended_within(2):
                await link.close()

    with ended_within(30):
        played(story)


def test_a_hung_bus_is_noticed_when_it_goes_quiet(
    played: Callable[[Story], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ble_module, "PROBE_AFTER_S", 0.2)
    monkeypatch.setattr(ble_module, "PROBE_S", 0.2)

    async def story(bus: PrivateBus, _: FakeBluez) -> None:
        async with opened() as link:
            bus.send(signal.SIGSTOP)
            with pytest.raises(PortLost, match="stopped answering"):
                await take(link, 99)
        await buried(bus)

    played(story)


def test_a_bus_that_hangs_from_the_first_is_told_from_a_device_that_does_not_connect(
    played: Callable[[Story], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ble_module, "OPENING_S", 0.5)

    async def story(bus: PrivateBus, _: FakeBluez) -> None:
        bus.send(signal.SIGSTOP)
        with pytest.raises(PortSilent, match="service does not answer"):
            await BleTransport("ble://LEVEL", instrument()).open()
        await buried(bus)

    played(story)


def test_a_bus_killed_while_connecting(played: Callable[[Story], None]) -> None:
    async def story(bus: PrivateBus, bluez: FakeBluez) -> None:
        bluez.near[0].fault = "deaf"
        opening = asyncio.create_task(BleTransport("ble://LEVEL", instrument()).open())
        await until(lambda: any(called == "Connect" for called, _ in bluez.calls))
        bus.send(signal.SIGKILL)
        with pytest.raises(PortError, match="Bluetooth service stopped"):
            await opening

    with ended_within(30):
        played(story)
