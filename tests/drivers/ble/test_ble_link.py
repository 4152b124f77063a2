"""One link to one device, over the unmodified bleak and a BlueZ of our own."""

import asyncio
import contextlib
import time

import pytest
from awake import Awake
from ble_bench import SERIAL_IN, SERIAL_OUT, elevation_level, instrument, opened, serial_level, take, until
from fake_bluez import FakeBluez
from fake_device import Characteristic

from drivers.decoders.gatt import GattDecoder
from drivers.errors import PortLost, PortSilent, RadioMissing, RadioOff
from drivers.transports import ble as ble_module
from drivers.transports.ble import BleTransport


async def test_values_come_with_what_describes_them_before(bluez: FakeBluez) -> None:
    level = elevation_level()
    bluez.bring(level)
    async with opened() as link:
        bluez.notify(level, "2a6c", bytes.fromhex("7B0000"))
        chunks = await take(link, 9)
    assert [c.channel for c in chunks] == [
        "address", "name", "2a6c/2904", "2a6c/290c", "2a29", "2a24", "2a19", "2a6e", "2a6c",
    ]  # fmt: skip
    decoder = GattDecoder(instrument())
    readings = [r for c in chunks for r in decoder.feed(c)]
    assert [(r.height_m, r.temperature_c, r.battery) for r in readings] == [(1.23, 21.37, 87.0)]
    assert decoder.facts["manufacturer"] == "Bench"
    assert decoder.facts["sampling"] == "arithmetic mean"
    assert decoder.resolution_m == pytest.approx(0.01)


@pytest.mark.parametrize("acquire", ["false", "true"])
@pytest.mark.parametrize(("rate_hz", "count"), [(10, 6), (100, 100), (200, 200)])
async def test_no_sample_is_lost_or_doubled(bluez: FakeBluez, acquire: str, rate_hz: int, count: int) -> None:
    level = elevation_level()
    bluez.bring(level)
    async with opened(file=instrument(f'characteristic = "2a6c"\nacquire = {acquire}')) as link:
        sending = asyncio.create_task(play(bluez, level, rate_hz=rate_hz, count=count))
        chunks = [c for c in await take(link, 8 + count) if c.channel == "2a6c"]
        await sending
    assert [int.from_bytes(c.data, "little") for c in chunks] == list(range(count))
    assert [c.t_s for c in chunks] == sorted(c.t_s for c in chunks)


async def play(bluez: FakeBluez, level: object, *, rate_hz: float, count: int, start: int = 0) -> None:
    begun = asyncio.get_running_loop().time()
    for n in range(count):
        bluez.notify(level, "2a6c", (start + n).to_bytes(3, "little"))  # type: ignore[arg-type]
        await asyncio.sleep(max(begun + (n + 1) / rate_hz - asyncio.get_running_loop().time(), 0))


async def test_values_before_the_subscription_is_confirmed_count(bluez: FakeBluez) -> None:
    level = elevation_level()
    level.characteristic("2a6c").early = [b"\x01\x00\x00", b"\x02\x00\x00"]
    bluez.bring(level)
    async with opened() as link:
        bluez.notify(level, "2a6c", b"\x03\x00\x00")
        values = [c.data[0] for c in await take(link, 11) if c.channel == "2a6c"]
    assert values == [1, 2, 3]


@pytest.mark.parametrize("acquire", ["false", "true"])
async def test_a_hang_up_ends_the_link_after_what_came_before(bluez: FakeBluez, acquire: str) -> None:
    level = elevation_level()
    bluez.bring(level)
    async with opened(file=instrument(f'characteristic = "2a6c"\nacquire = {acquire}')) as link:
        bluez.notify(level, "2a6c", b"\x01\x00\x00")
        bluez.hang_up(level)
        begun = time.monotonic()
        with pytest.raises(PortLost, match="hung up"):
            await take(link, 99)
        assert time.monotonic() - begun < ble_module.PROBE_AFTER_S


async def test_after_a_hang_up_each_sample_comes_once(bluez: FakeBluez) -> None:
    """A client left behind would have BlueZ send each twice (bleak, issue 2002)."""
    level = elevation_level()
    bluez.bring(level)
    for round_ in range(3):
        async with opened() as link:
            for n in range(5):
                bluez.notify(level, "2a6c", bytes([10 * round_ + n, 0, 0]))
            values = [c.data[0] for c in await take(link, 13) if c.channel == "2a6c"]
            assert values == [10 * round_ + n for n in range(5)]
            bluez.hang_up(level)
            with pytest.raises(PortLost):
                await take(link, 1)
    assert level.characteristic("2a6c").most_listeners == 1
    await until(lambda: not level.characteristic("2a6c").listeners)


async def test_silence_with_the_link_up(bluez: FakeBluez) -> None:
    bluez.bring(elevation_level())
    async with opened(file=instrument(more='[serial]\nsilence = "0.4 s"')) as link:
        with pytest.raises(PortSilent, match=r"sent no value for 0\.4 s"):
            await take(link, 1)


async def test_battery_alone_is_silence(bluez: FakeBluez) -> None:
    level = elevation_level()
    bluez.bring(level)

    async def discharge() -> None:
        while True:
            bluez.notify(level, "2a19", b"\x50")
            await asyncio.sleep(0.02)

    telling = asyncio.create_task(discharge())
    async with opened(file=instrument(more='[serial]\nsilence = "0.4 s"')) as link:
        with pytest.raises(PortSilent):
            await take(link, 1)
    telling.cancel()


async def test_a_killed_service_is_noticed(bluez: FakeBluez, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing reports it: the link is tried when it goes quiet."""
    monkeypatch.setattr(ble_module, "PROBE_AFTER_S", 0.2)
    level = elevation_level()
    bluez.bring(level)
    async with opened() as link:
        bluez.notify(level, "2a6c", b"\x01\x00\x00")
        await take(link, 9)
        await bluez.kill()
        with pytest.raises((PortLost, RadioMissing)):
            await take(link, 1)
    await bluez.start()


async def test_a_device_that_answers_no_more_is_noticed(bluez: FakeBluez, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ble_module, "PROBE_AFTER_S", 0.2)
    monkeypatch.setattr(ble_module, "PROBE_S", 0.2)
    level = elevation_level()
    bluez.bring(level)
    async with opened() as link:
        level.fault = "hung"
        with pytest.raises(PortLost, match="stopped answering"):
            await take(link, 1)


async def test_the_adapter_is_switched_off(bluez: FakeBluez) -> None:
    bluez.bring(elevation_level())
    async with opened() as link:
        bluez.power(on=False)
        with pytest.raises(PortLost):
            await take(link, 1)
    with pytest.raises(RadioOff, match="bluetoothctl power on"):
        async with opened():
            pass
    bluez.power(on=True)
    reopened = False
    async with asyncio.timeout(5):
        while not reopened:
            await asyncio.sleep(0.01)
            with contextlib.suppress(RadioOff):
                async with opened():
                    reopened = bluez.near[0].connected


@pytest.mark.parametrize("stage", ["searching", "deaf", "open"])
async def test_a_cancel_is_quick_in_every_state(bluez: FakeBluez, stage: str) -> None:
    level = elevation_level()
    level.fault = "deaf" if stage == "deaf" else ""
    if stage != "searching":
        bluez.bring(level)
    link = BleTransport("ble://LEVEL", instrument())

    async def use() -> None:
        await link.open()
        async for _ in link.chunks():
            pass

    using = asyncio.create_task(use())
    member = {"searching": "StartDiscovery", "deaf": "Connect", "open": "StartNotify"}[stage]
    await until(lambda: any(called == member for called, _ in bluez.calls))
    awake = Awake()
    using.cancel()
    with pytest.raises(asyncio.CancelledError):
        await using
    await link.close()
    assert awake.seconds < 0.2
    await until(lambda: not level.connected and not bluez.discovering)


async def test_a_serial_line_over_two_characteristics(bluez: FakeBluez) -> None:
    level = serial_level()
    bluez.bring(level)
    file = instrument(
        f'notify = "{SERIAL_OUT}"\nwrite = "{SERIAL_IN}"\n[decoder.inner]\nkind = "lines"\npattern = "(?P<height>[-+.0-9]+) mm"\n',
        '[ask]\nsend = "R"\n[height]\nunit = "mm"',
    )
    decoder = GattDecoder(file)
    async with opened("ble://WIRE", file) as link:
        await link.write(b"R" * 500)
        written = level.characteristic(SERIAL_IN).written
        assert b"".join(written) == b"R" * 500
        assert max(map(len, written)) <= 244
        text = b"".join(b"%+05d mm\r\n" % n for n in range(-20, 20))
        for start in range(0, len(text), 7):
            bluez.notify(level, SERIAL_OUT, text[start : start + 7])
        chunks = await take(link, 2 + -(-len(text) // 7))
    heights = [r.height_m for c in chunks for r in decoder.feed(c)]
    assert heights == pytest.approx([n / 1000 for n in range(-20, 20)])


async def test_a_scan_that_is_given_up_while_it_begins_is_stopped(bluez: FakeBluez) -> None:
    bluez.answers.clear()
    opening = asyncio.create_task(BleTransport("ble://LEVEL", instrument()).open())
    await until(lambda: bluez.discovering)
    opening.cancel()
    with pytest.raises(asyncio.CancelledError):
        await opening
    bluez.answers.set()
    await until(lambda: not bluez.discovering)


async def test_a_value_that_is_only_read_is_asked_for(bluez: FakeBluez) -> None:
    level = elevation_level()
    level.characteristic("2a6c").flags = ("read",)
    level.characteristic("2a6c").value = b"\x07\x00\x00"
    bluez.bring(level)
    async with opened(file=instrument(more='[ask]\nevery = "0.02 s"')) as link:
        assert [c.data for c in await take(link, 12)][-4:] == [b"\x07\x00\x00"] * 4


@pytest.mark.parametrize("acquire", ["false", "true"])
async def test_a_value_sent_on_change_is_read_while_it_rests(bluez: FakeBluez, acquire: str) -> None:
    """ES Trigger Setting 0x290D, condition 3: when the value changes. Rest is not silence then."""
    level = elevation_level()
    level.characteristic("2a6c").descriptors["290d"] = b"\x03"
    level.characteristic("2a6c").value = b"\x07\x00\x00"
    bluez.bring(level)
    file = instrument(
        f'characteristic = "2a6c"\nacquire = {acquire}', '[ask]\nevery = "0.1 s"\n[serial]\nsilence = "0.8 s"'
    )
    async with opened(file=file) as link:
        begun = time.monotonic()
        chunks = await take(link, 21)
        assert time.monotonic() - begun > 0.8
    assert [c.data for c in chunks if c.channel == "2a6c"] == [b"\x07\x00\x00"] * 12


async def test_what_describes_the_values_outlasts_a_device_that_tells_its_battery_without_end(bluez: FakeBluez) -> None:
    level = elevation_level()
    bluez.bring(level)
    async with opened() as link:
        for percent in range(100, 0, -1):
            bluez.notify(level, "2a19", bytes([percent]))
            await asyncio.sleep(0.001)
        bluez.notify(level, "2a6c", bytes(3))
        told = {c.channel: c.data for c in await take(link, 9)}
    assert told["2a6c/2904"] == level.characteristic("2a6c").descriptors["2904"]
    assert told["2a19"] == b"\x01"


async def test_a_changed_descriptor_is_read_again(bluez: FakeBluez) -> None:
    level = elevation_level()
    level.services[1].characteristics.append(Characteristic("2a7d", ("indicate",)))
    bluez.bring(level)
    async with opened() as link:
        bluez.notify(level, "2a6c", bytes(3))
        await take(link, 9)
        bluez.notify(level, "2a7d", bytes.fromhex("08006c2a"))
        await until(lambda: len(link._held) == 3)
        bluez.notify(level, "2a6c", bytes(3))
        assert [c.channel for c in await take(link, 4)] == ["2a7d", "2a6c/2904", "2a6c/290c", "2a6c"]
        tasks = len(link._tasks)
        for _ in range(100):
            bluez.notify(level, "2a7d", bytes.fromhex("08006c2a"))
            await asyncio.sleep(0.001)
        bluez.notify(level, "2a6c", bytes(3))
        told = await take(link, 1)
        while told[-1].channel != "2a6c":
            told += await take(link, 1)
        assert len(told) <= 4
        assert len(link._tasks) == tasks
