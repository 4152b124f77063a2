"""Devices and waits for the Bluetooth tests."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fake_bluez import FakeBluez
from fake_device import Characteristic, Peripheral, Service

from drivers.instrument import InstrumentFile, parse
from drivers.reading import Chunk
from drivers.transports.ble import BleTransport


async def until(condition: Callable[[], object], within_s: float = 30.0) -> None:
    """Wait for a condition; fail the test when it does not come about."""
    async with asyncio.timeout(within_s):
        while not condition():  # noqa: ASYNC110 - conditions of many kinds, none of which can wake us
            await asyncio.sleep(0.005)


def elevation_level(name: str | None = "LEVEL", address: str = "C4:F2:17:1A:1D:AA") -> Peripheral:
    """An Environmental Sensing device with Elevation, temperature, battery and device information."""
    return Peripheral(
        name,
        address,
        [
            Service("180a", [Characteristic("2a29", ("read",), b"Bench"), Characteristic("2a24", ("read",), b"EL-1")]),
            Service(
                "181a",
                [
                    Characteristic(
                        "2a6c",
                        ("read", "notify"),
                        bytes(3),
                        {
                            "2904": bytes.fromhex("0FFE0127010000"),
                            "290c": bytes.fromhex("00000200000000000000" + "FF"),
                        },
                    ),
                    Characteristic("2a6e", ("read", "notify"), bytes.fromhex("5908")),
                ],
            ),
            Service("180f", [Characteristic("2a19", ("read", "notify"), b"\x57")]),
        ],
        advertised=("181a",),
    )


SERIAL_OUT, SERIAL_IN = "6e400003-b5a3-f393-e0a9-e50e24dcca9e", "6e400002-b5a3-f393-e0a9-e50e24dcca9e"
SERIAL_SERVICE = "6e400001-b5a3-f393-e0a9-e50e24dcca9e"


def serial_level(name: str | None = "WIRE", address: str = "D0:00:00:00:00:01") -> Peripheral:
    """A serial line over two characteristics of a maker's own."""
    lines = [Characteristic(SERIAL_OUT, ("notify",)), Characteristic(SERIAL_IN, ("write", "write-without-response"))]
    return Peripheral(name, address, [Service(SERIAL_SERVICE, lines)], advertised=(SERIAL_SERVICE,))


def instrument(decoder: str = 'characteristic = "2a6c"', more: str = "") -> InstrumentFile:
    """An instrument file with this decoder table."""
    return parse(f'[instrument]\nname = "x"\n[decoder]\nkind = "gatt"\n{decoder}\n{more}', "test")


@asynccontextmanager
async def opened(port: str = "ble://LEVEL", file: InstrumentFile | None = None) -> AsyncIterator[BleTransport]:
    """A link, closed again."""
    link = BleTransport(port, file or instrument())
    await link.open()
    try:
        yield link
    finally:
        await link.close()


async def take(link: BleTransport, count: int) -> list[Chunk]:
    """The next chunks of a link."""
    got = []
    async with asyncio.timeout(30):
        async for chunk in link.chunks():
            got.append(chunk)
            if len(got) == count:
                break
    return got


def millimetres(value: int) -> bytes:
    """A height in the octets of Elevation, counted in its steps of 0.01 m."""
    return value.to_bytes(3, "little", signed=True)


async def sends(bluez: FakeBluez, device: Peripheral, uuid: str, values: list[bytes]) -> None:
    """A device that sends by itself, a hundred times a second, these values over and over."""
    for n in range(10_000):
        bluez.notify(device, uuid, values[n % len(values)])
        await asyncio.sleep(0.01)


def waiting_for_the_bus() -> list[asyncio.Task[object]]:
    """Tasks of bleak that watch the bus; they end when it does."""
    return [t for t in asyncio.all_tasks() if "_monitor_bus_disconnect" in repr(t.get_coro())]
