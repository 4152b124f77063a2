"""Bluetooth LE of this computer: scanning, and one link to one device. The only module that touches bleak.

Whatever the radio, the system or the device does wrong leaves here as a PortError with what to do on this system.
A link that is given up is disconnected in the background, and the next one waits for that: a client left behind makes
BlueZ deliver every sample twice, and its Disconnect takes two seconds.
"""

import asyncio
import contextlib
import logging
import sys
from collections.abc import AsyncIterator, Callable, Coroutine
from dataclasses import dataclass
from typing import Any, TypeVar

from drivers.gatt_values import BATTERY_LEVEL, long_uuid, short_uuid
from drivers.radio_faults import fault

T = TypeVar("T")
log = logging.getLogger(__name__)

GOODBYE_S = 0.15
"""How long closing a link is waited for before it goes on in the background: a cancel must be quick."""
LEAVING_S = 5.0
"""Longest a disconnect may take."""
COMMON_SERVICES = ("1800", "1801", "180a", "180f", "181a")
"""Services one of which nearly every device has: what already connected devices are looked for by."""

leaving: set[asyncio.Task[None]] = set()
"""Disconnects still under way."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One device heard advertising, or already connected to this computer.

    `address` is what the system calls it (on macOS an identifier of its own, not an address); `services` as short
    UUIDs; `rssi` in dBm, None where it was not heard; `device` is the system's own handle, good for this scan only.
    """

    name: str | None
    address: str
    rssi: int | None
    services: tuple[str, ...]
    device: Any
    connected: bool = False

    @property
    def wanders(self) -> bool:
        """Whether its address is another for every computer, or every few minutes, and is no name to keep.

        True of what macOS calls an address, and of resolvable private ones: two highest bits 01 (Core Specification,
        Vol 6, Part B, 1.3.2.2).
        """
        first, colon, _ = self.address.partition(":")
        if not colon:
            return True
        random = _properties(self.device).get("AddressType", "random") == "random"
        return random and int(first, 16) >> 6 == 1


@contextlib.asynccontextmanager
async def scanning(port: str, adapter: str = "") -> AsyncIterator[asyncio.Queue[Seen]]:
    """Scan while the context is open; each advertisement is put in the queue. PortError where that cannot be."""
    from bleak import BleakScanner

    heard: asyncio.Queue[Seen] = asyncio.Queue()

    def on_advertisement(device: Any, data: Any) -> None:
        services = tuple(sorted(short_uuid(u) for u in data.service_uuids))
        connected = bool(_properties(device).get("Connected", False))
        heard.put_nowait(Seen(data.local_name or device.name, device.address, data.rssi, services, device, connected))

    bluez: Any = {"adapter": adapter} if adapter else {}
    scanner = BleakScanner(on_advertisement, bluez=bluez)
    starting = asyncio.get_running_loop().create_task(scanner.start())
    try:
        await asyncio.shield(starting)
    except asyncio.CancelledError:
        await _finished(_undone(starting, scanner))
        raise
    except Exception as error:
        raise fault(port, error) from error
    try:
        yield heard
    finally:
        await _finished(scanner.stop())


async def _undone(starting: asyncio.Task[None], scanner: Any) -> None:
    """Stop a scan that was given up while it began: the system may have begun it, and would go on for ever."""
    await starting
    await scanner.stop()


async def already_connected(services: tuple[str, ...] = (), adapter: str = "") -> list[Seen]:
    """Devices this computer is connected to: left so by a program that crashed, they advertise no more."""
    from bleak import BleakAdapter

    wanted = [long_uuid(u) for u in dict.fromkeys((*COMMON_SERVICES, *services)) if u]
    bluez: Any = {"adapter": adapter} if adapter else {}
    try:
        radio = await BleakAdapter.get(bluez=bluez)
        found = await radio.get_connected_devices(wanted)
    except Exception as error:
        log.debug("connected devices cannot be listed: %r", error)
        return []
    return [Seen(d.name, d.address, None, _listed_services(d), d, connected=True) for d in found]


class Peer:
    """A link to one device, from `connect` to `leave`. `lost` is set when the system reports its end."""

    def __init__(self, port: str, seen: Seen, adapter: str = "") -> None:
        from bleak import BleakClient

        self.port = port
        self.seen = seen
        self.lost = asyncio.Event()
        bluez: Any = {"adapter": adapter} if adapter else {}
        self._client = BleakClient(seen.device, lambda _client: self.lost.set(), bluez=bluez)
        self._left = False
        self._pending: set[asyncio.Task[Any]] = set()

    async def connect(self) -> None:
        """Connect and find the services. Cancelled, it returns at once and the link is undone in the background."""
        await self._do(self._client.connect())

    @property
    def services(self) -> list[Any]:
        """Services in the order of their handles, each with its characteristics in order."""
        return sorted(self._client.services, key=lambda s: s.handle)

    def characteristics(self, service: str = "") -> list[Any]:
        """Characteristics in the order of their handles, of one service or of all."""
        found = [c for s in self.services if service in ("", short_uuid(s.uuid)) for c in s.characteristics]
        return sorted(found, key=lambda c: c.handle)

    def find(self, uuid: str, service: str = "") -> Any | None:
        """The first characteristic of this UUID; None if the device has none."""
        return next((c for c in self.characteristics(service) if short_uuid(c.uuid) == uuid), None)

    async def read(self, characteristic: Any) -> bytes:
        """Read a characteristic."""
        return bytes(await self._do(self._client.read_gatt_char(characteristic)))

    async def read_descriptor(self, descriptor: Any) -> bytes:
        """Read a descriptor."""
        return bytes(await self._do(self._client.read_gatt_descriptor(descriptor)))

    @property
    def echoes_reads(self) -> bool:
        """Whether a read of a subscribed characteristic is delivered as a notification too, as BlueZ does."""
        return sys.platform.startswith("linux")

    async def probe(self, besides: Any) -> None:
        """Read something that is no value, to learn whether the link is there; PortError if it is not."""
        readable = [c for c in self.characteristics() if "read" in c.properties and c.handle != besides.handle]
        if readable:
            await self.read(min(readable, key=lambda c: short_uuid(c.uuid) != BATTERY_LEVEL))
        elif besides.descriptors:
            await self.read_descriptor(min(besides.descriptors, key=lambda d: d.handle))

    async def subscribe(self, characteristic: Any, on_value: Callable[[bytes], None], *, acquire: bool = False) -> None:
        """Have every notification or indication handed to `on_value` as it arrives."""

        def deliver(_characteristic: Any, data: bytearray) -> None:
            if not self._left:
                on_value(bytes(data))

        bluez: Any = {"use_start_notify": not acquire}
        await self._do(self._client.start_notify(characteristic, deliver, bluez=bluez))

    async def write(self, characteristic: Any, data: bytes) -> None:
        """Write, in pieces the link takes; confirmed where the characteristic can."""
        confirmed = "write" in characteristic.properties
        size = max(characteristic.max_write_without_response_size, 20)
        for start in range(0, len(data), size):
            piece = data[start : start + size]
            await self._do(self._client.write_gatt_char(characteristic, piece, response=confirmed))

    async def leave(self) -> None:
        """Disconnect: waited for a moment, then left to finish by itself."""
        if not self._left:
            self._left = True
            await _finished(self._goodbye())

    async def _goodbye(self) -> None:
        if self._pending:
            await asyncio.wait(self._pending)
        await self._client.disconnect()

    async def _do(self, work: Coroutine[Any, Any, T]) -> T:
        """Run one operation so that giving it up is immediate, whatever bleak still does to undo it."""
        task = asyncio.get_running_loop().create_task(work)
        self._pending.add(task)
        task.add_done_callback(self._pending.discard)
        try:
            return await asyncio.shield(task)
        except asyncio.CancelledError:
            task.cancel()
            raise
        except Exception as error:
            raise fault(self.port, error) from error


async def settle_goodbyes() -> None:
    """Wait for disconnects still under way; call it before a link to the same device is made."""
    if leaving:
        await asyncio.wait(set(leaving), timeout=LEAVING_S)


async def _finished(work: Coroutine[Any, Any, None]) -> None:
    """Let `work` come to its end: waited for a moment, then in the background; its errors are only logged."""

    async def bounded() -> None:
        try:
            async with asyncio.timeout(LEAVING_S):
                await work
        except Exception as error:
            log.info("while letting Bluetooth go: %r", error)

    task = asyncio.get_running_loop().create_task(bounded())
    leaving.add(task)
    task.add_done_callback(leaving.discard)
    await asyncio.wait({task}, timeout=GOODBYE_S)


def _listed_services(device: Any) -> tuple[str, ...]:
    return tuple(sorted(short_uuid(u) for u in _properties(device).get("UUIDs", [])))


def _properties(device: Any) -> dict[str, Any]:
    """What BlueZ says of a device; empty on other systems."""
    properties = device.details.get("props", {}) if isinstance(device.details, dict) else {}
    return properties if isinstance(properties, dict) else {}
