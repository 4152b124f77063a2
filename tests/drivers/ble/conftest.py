"""A private bus with a small BlueZ on it, for every test of this folder."""

import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from ble_bench import until, waiting_for_the_bus
from fake_bluez import FakeBluez
from private_bus import PrivateBus


@pytest.fixture
async def bus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[PrivateBus]:
    PrivateBus.require()
    running = PrivateBus(tmp_path)
    running.start()
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", running.address)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setattr("drivers.transports.ble.last_addresses", {})
    monkeypatch.setattr("drivers.ble_search.TWINS_S", 0.1)
    monkeypatch.setattr("drivers.ble_search.LEAVING_S", 0.2)
    yield running
    running.stop()
    await until(lambda: not waiting_for_the_bus())


@pytest.fixture
async def bluez(bus: PrivateBus) -> AsyncIterator[FakeBluez]:
    service = FakeBluez(bus.address)
    await service.start()
    yield service
    await service.kill()
