"""Finding and opening a Bluetooth instrument, and the words for each way that can fail."""

import asyncio

import pytest
from ble_bench import elevation_level, instrument, opened, serial_level, take, until
from fake_bluez import FakeBluez

from drivers.errors import PortBusy, PortLost, PortMissing, PortSilent, RadioMissing
from drivers.transports import ble as ble_module
from drivers.transports.ble import BleTransport


@pytest.mark.parametrize("port", ["ble://level", "ble://C4:F2:17:1A:1D:AA", "ble://181a", "ble://", "BLE://LEVEL/"])
async def test_found_by_name_address_or_service(bluez: FakeBluez, port: str) -> None:
    bluez.bring(elevation_level())
    bluez.bring(serial_level())
    async with opened(port):
        assert [p.name for p in bluez.near if p.connected] == ["LEVEL"]


async def test_a_name_with_a_blank(bluez: FakeBluez) -> None:
    bluez.bring(elevation_level("BENCH LEVEL 2"))
    async with opened("ble://BENCH%20LEVEL%202"):
        assert bluez.near[0].connected


async def test_two_of_one_name_are_named_and_none_is_taken(bluez: FakeBluez) -> None:
    bluez.bring(elevation_level())
    bluez.bring(elevation_level(address="C4:F2:17:1A:1D:BB"))
    with pytest.raises(PortMissing, match=r"C4:F2:17:1A:1D:AA.*C4:F2:17:1A:1D:BB"):
        async with opened():
            pass
    assert not any(p.connected for p in bluez.near)


async def test_not_found_says_what_was_heard(bluez: FakeBluez, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ble_module, "SEARCH_S", 0.5)
    bluez.bring(serial_level())
    with pytest.raises(PortMissing, match=r"nothing called 'LEVEL'.*WIRE \(D0:00:00:00:00:01\)"):
        async with opened():
            pass


async def test_it_is_found_when_it_starts_to_advertise_later(bluez: FakeBluez) -> None:
    link = BleTransport("ble://LEVEL", instrument())
    opening = asyncio.create_task(link.open())
    await until(lambda: bluez.discovering)
    bluez.bring(elevation_level())
    await opening
    assert bluez.near[0].connected
    await link.close()


async def test_back_under_a_new_address(bluez: FakeBluez, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("drivers.ble_search.OLD_ADDRESS_S", 0.3)
    level = elevation_level()
    bluez.bring(level)
    async with opened() as link:
        bluez.take_away(level)
        with pytest.raises(PortLost):
            await take(link, 1)
    moved = elevation_level(address="7A:00:00:00:00:02")
    bluez.bring(moved)
    async with opened() as link:
        bluez.notify(moved, "2a6c", b"\x05\x00\x00")
        assert (await take(link, 1))[0].data == b"7A:00:00:00:00:02"


async def test_a_connect_that_never_ends(bluez: FakeBluez, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ble_module, "OPENING_S", 2.0)
    level = elevation_level()
    level.fault = "deaf"
    bluez.bring(level)
    with pytest.raises(PortSilent, match="did not finish connecting"):
        async with opened():
            pass
    await until(lambda: ("Disconnect", level.path) in bluez.calls)
    level.fault = ""
    monkeypatch.setattr(ble_module, "OPENING_S", 10.0)
    async with opened():
        assert level.connected


async def test_a_refused_connect(bluez: FakeBluez) -> None:
    level = elevation_level()
    level.fault = "refuses"
    bluez.bring(level)
    with pytest.raises(PortMissing, match="did not let us connect"):
        async with opened():
            pass


async def test_a_device_left_connected_by_a_crash_is_taken_over(bluez: FakeBluez) -> None:
    """BlueZ keeps it connected when its client dies, and then it advertises no more."""
    level = elevation_level()
    bluez.bring(level)
    abandoned = BleTransport("ble://LEVEL", instrument())
    await abandoned.open()
    peer, abandoned._peer = abandoned._peer, None
    assert peer is not None
    peer._client._backend._bus.disconnect()  # type: ignore[attr-defined]
    await abandoned.close()
    await until(lambda: not level.characteristic("2a6c").listeners)
    assert level.connected
    async with opened() as link:
        bluez.notify(level, "2a6c", b"\x05\x00\x00")
        assert [c.data for c in await take(link, 9) if c.channel == "2a6c"] == [b"\x05\x00\x00"]
    assert not level.connected


async def test_a_device_that_another_program_is_just_leaving_is_waited_for(
    bluez: FakeBluez, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its disconnect would end our link too."""
    monkeypatch.setattr("drivers.ble_search.LEAVING_S", 30.0)
    level = elevation_level()
    bluez.bring(level)
    async with opened():
        pass
    await until(lambda: not level.connected)
    bluez.connect(level)
    link = BleTransport("ble://LEVEL", instrument())
    opening = asyncio.create_task(link.open())
    await until(lambda: bluez.discovering or opening.done())
    bluez.hang_up(level)
    await opening
    assert level.connected
    assert bluez.calls.count(("Connect", level.path)) == 2
    await link.close()


async def test_one_owner(bluez: FakeBluez) -> None:
    bluez.bring(elevation_level())
    async with opened():
        with pytest.raises(PortBusy, match="is using it already"):
            async with opened():
                pass
    async with opened():
        pass


async def test_no_adapter(bus: object) -> None:
    service = FakeBluez(bus.address, adapter=False)  # type: ignore[attr-defined]
    await service.start()
    with pytest.raises(RadioMissing, match="no Bluetooth LE adapter"):
        async with opened():
            pass
    await service.kill()


async def test_no_service(bus: object) -> None:
    with pytest.raises(RadioMissing, match="systemctl start bluetooth"):
        async with opened():
            pass


async def test_no_system_bus(monkeypatch: pytest.MonkeyPatch, tmp_path: object) -> None:
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", f"unix:path={tmp_path}/nothing")
    with pytest.raises(RadioMissing, match="message bus"):
        async with opened():
            pass


async def test_a_device_without_the_characteristic_says_what_it_has(bluez: FakeBluez) -> None:
    bluez.bring(elevation_level())
    with pytest.raises(PortMissing, match=r"no characteristic 2a6d; it has 2a29, 2a24, 2a6c, 2a6e, 2a19"):
        async with opened(file=instrument('characteristic = "2a6d"')):
            pass
    await until(lambda: not bluez.near[0].connected)


async def test_denied_by_the_bus(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    from private_bus import PrivateBus

    from drivers.errors import PortDenied

    PrivateBus.require()
    closed = PrivateBus(tmp_path, denials='<deny send_destination="org.bluez"/>')  # type: ignore[arg-type]
    closed.start()
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", closed.address)
    service = FakeBluez(closed.address)
    await service.start()
    with pytest.raises(PortDenied, match="usermod -aG bluetooth"):
        async with opened():
            pass
    await service.kill()
    closed.stop()


async def test_a_file_for_a_serial_line_is_refused_with_what_to_do(bluez: FakeBluez) -> None:
    from drivers.instrument import load

    with pytest.raises(PortMissing, match='kind = "gatt"'):
        await BleTransport("ble://LEVEL", load("ascii-lines")).open()
