"""What advertises around here, and what an unknown device is taken for."""

import asyncio

import pytest
from ble_bench import SERIAL_IN, SERIAL_OUT, elevation_level, opened, sends, serial_level
from bleak.backends.device import BLEDevice
from fake_bluez import FakeBluez
from fake_device import Characteristic, Peripheral, Service

from drivers.ble_identify import advertising, identify_ble
from drivers.decoders.gatt import GattDecoder
from drivers.errors import PortMissing
from drivers.radio import Seen

OWN = "0000a501-3c17-4d2e-9b64-6f1d0c8e7a52"


async def test_what_advertises_and_which_file_fits(bluez: FakeBluez) -> None:
    near, far = elevation_level(), serial_level()
    far.rssi = -90
    for device in (far, near, Peripheral(None, "D0:00:00:00:00:07", [], rssi=-99)):
        bluez.bring(device)
    heard = await advertising(0.5)
    assert (heard[0].seen.name, heard[0].seen.rssi, heard[0].seen.services) == ("LEVEL", -60, ("181a",))
    assert [a.instruments for a in heard] == [("ble-elevation", "ble-pressure-water"), ("ble-serial-lines",), ()]
    assert [a.port for a in heard[:2]] == ["ble://C4:F2:17:1A:1D:AA", "ble://D0:00:00:00:00:01"]
    assert "steps of 10 mm: too coarse" in heard[0].notes[0]
    assert not bluez.discovering


async def test_an_address_that_changes_is_not_proposed_as_a_port(bluez: FakeBluez) -> None:
    """Resolvable private addresses begin with bits 01; a name that two devices have is no name."""
    for name, address in (("A 1", "7A:00:00:00:00:01"), ("TWIN", "5B:00:00:00:00:02"), ("TWIN", "4C:00:00:00:00:03")):
        bluez.bring(elevation_level(name, address))
    ports = {a.port for a in await advertising(0.5)}
    assert ports == {"ble://A%201", "ble://5B:00:00:00:00:02", "ble://4C:00:00:00:00:03"}
    async with opened("ble://A%201"):
        assert bluez.near[0].connected


def test_identifiers_of_macos_are_no_addresses() -> None:
    device = BLEDevice("9D3C1C0A-0F5B-4C8E-8C1F-2A7E5D0B6F11", "LEVEL", details=object())
    assert Seen("LEVEL", device.address, -50, (), device).wanders


async def test_an_elevation_device(bluez: FakeBluez) -> None:
    level = elevation_level()
    bluez.bring(level)
    sending = asyncio.create_task(sends(bluez, level, "2a6c", [b"\x7b\x00\x00"]))
    found = await identify_ble("ble://LEVEL", 0.6)
    sending.cancel()
    assert found.best is not None
    assert found.best.instrument is not None
    assert found.best.tables["decoder"] == {"kind": "gatt", "service": "181a", "characteristic": "2a6c"}
    assert {r.height_m for r in found.readings[1:]} == {1.23}
    assert any("too coarse" in reason for reason in found.best.reasons)
    assert not level.connected


async def test_a_finer_characteristic_of_its_own_comes_first(bluez: FakeBluez) -> None:
    level = elevation_level()
    fine = Characteristic(OWN, ("notify",), b"", {"2904": bytes.fromhex("10FC0127010000")})
    level.services[1].characteristics.append(fine)
    bluez.bring(level)
    sending = asyncio.create_task(sends(bluez, level, OWN, [(12345).to_bytes(4, "little")]))
    found = await identify_ble("ble://LEVEL", 0.6)
    sending.cancel()
    assert [c.tables["decoder"]["characteristic"] for c in found.candidates] == [OWN, "2a6c"]
    assert {r.height_m for r in found.readings} == {1.2345}


async def test_the_pressure_of_the_air_is_doubted(bluez: FakeBluez) -> None:
    barometer = Characteristic("2a6d", ("read", "notify"), bytes.fromhex("02760F00"))
    bluez.bring(Peripheral("AIR", "D0:00:00:00:00:08", [Service("181a", [barometer])], advertised=("181a",)))
    found = await identify_ble("ble://AIR", 0.6)
    assert found.best is not None
    assert found.best.confidence < 0.5
    assert any("open air" in reason for reason in found.best.reasons)


async def test_a_serial_line(bluez: FakeBluez) -> None:
    level = serial_level()
    bluez.bring(level)
    pieces = [b"+0123.4", b" mm\r\n-00", b"05.0 mm\r\n", b"+0200.0 mm\r\n"]
    sending = asyncio.create_task(sends(bluez, level, SERIAL_OUT, pieces))
    found = await identify_ble("ble://WIRE", 0.8)
    sending.cancel()
    assert found.best is not None
    assert found.best.instrument is not None
    table = found.best.tables["decoder"]
    assert (table["notify"], table["write"], table["inner"]["kind"]) == (SERIAL_OUT, SERIAL_IN, "lines")
    assert {round(r.height_m, 6) for r in found.readings} == {0.1234, -0.005, 0.2}
    GattDecoder(found.best.instrument)
    assert level.characteristic(SERIAL_IN).written == []


async def test_nothing_there(bluez: FakeBluez) -> None:
    with pytest.raises(PortMissing):
        await identify_ble("ble://LEVEL", 0.3)
