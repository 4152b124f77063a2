"""A Bluetooth LE instrument as a transport: found afresh for each link, subscribed to, watched, and let go.

Each chunk's channel names its characteristic (`2a6c`, or the whole UUID of a maker's own), `2a6c/2904` a descriptor
of it, `name` and `address` what advertised. Whatever is not a value (descriptors, device information, battery,
temperature) is held until the next value and comes just before it, the latest of each, so that an instrument that tells
its battery but no height counts as silent.
"""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable
from functools import partial
from typing import Any

from drivers import gatt_values as gv
from drivers.ble_search import SEARCH_S, Target, search
from drivers.errors import PortError, PortLost, PortMissing, PortSilent
from drivers.instrument import InstrumentFile
from drivers.quantities import quantity
from drivers.radio import Peer, settle_goodbyes
from drivers.radio_faults import not_answering
from drivers.reading import Chunk
from drivers.tables import GattTable
from drivers.transports.arrivals import Arrivals
from drivers.transports.ble_hold import Hold

OPENING_S = 20.0
"""Scan, connect and subscribe together; on Linux a connect alone may take some seconds."""
PROBE_AFTER_S = 2.0
"""Quiet time after which the link itself is tried: a killed Bluetooth service reports nothing."""
PROBE_S = 2.0
ON_CHANGE_S = 0.5
"""How often a value is read that the device sends only when it changes."""
BY_VALUE = range(3, 10)
"""Conditions of ES Trigger Setting 0x290D that depend on the value and not on time."""
LATE = {
    "searching": not_answering(),
    "connecting": "it was found and did not finish connecting; is it connected to a phone, or low on battery?",
    "subscribing": "it is connected and does not answer; switch it off and on",
}

last_addresses: dict[str, str] = {}
"""Where a port string led to in this process: what a fresh scan looks for first."""


class BleTransport:
    """One link to one Bluetooth LE instrument."""

    opening_s = OPENING_S + 1.0

    def __init__(self, port: str, instrument: InstrumentFile, clock: Callable[[], float] = time.monotonic) -> None:
        self.port = port
        self._target = Target.parse(port)
        self._table = instrument.decoder if isinstance(instrument.decoder, GattTable) else None
        self._value_uuid = (self._table.notify or self._table.characteristic) if self._table is not None else ""
        self._acquires = self._table is not None and self._table.acquire
        self._every_s = quantity(instrument.ask.every, "s") if instrument.ask is not None else ON_CHANGE_S
        self._silence_s = quantity(instrument.serial.silence, "s")
        self._clock = clock
        self._hold: Hold | None = None
        self._peer: Peer | None = None
        self._arrivals: Arrivals | None = None
        self._held: dict[str, Chunk] = {}
        self._tasks: list[asyncio.Task[None]] = []
        self._quiet_since_s = 0.0
        self._stage = "searching"

    async def open(self) -> None:
        """Find, connect, ask what there is, and subscribe: all within one deadline. PortError says what to do."""
        if self._table is None:
            raise PortMissing(self.port, 'over Bluetooth the instrument file needs [decoder] kind = "gatt"')
        try:
            async with asyncio.timeout(OPENING_S):
                await settle_goodbyes()
                await self._open(self._table)
        except BaseException as error:
            await self.close()
            if isinstance(error, TimeoutError):
                raise PortSilent(self.port, LATE[self._stage]) from None
            raise

    async def chunks(self) -> AsyncIterator[Chunk]:
        """What the device sends, as it arrives; PortLost when the link ends, PortSilent when no value comes."""
        if self._arrivals is None:
            raise PortMissing(self.port, "it is not open")
        async for chunk in self._arrivals:
            yield chunk

    async def write(self, data: bytes) -> None:
        """Send bytes to the writing characteristic of a serial line over GATT; PortLost if the link is gone."""
        table, peer = self._table, self._peer
        if peer is None or table is None:
            raise PortLost(self.port, "it is not open")
        into = peer.find(table.write, table.service) or peer.find(table.write)
        if into is None:
            raise PortLost(self.port, f"it has no characteristic {table.write or 'to write to'}; see risewalk listen")
        await peer.write(into, data)

    async def close(self) -> None:
        """Let the device go, clean up in the background what takes longer; harmless if it is not open."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._tasks.clear()
        if self._arrivals is not None:
            self._arrivals.end()
        peer, self._peer = self._peer, None
        if peer is not None:
            await peer.leave()
        if self._hold is not None:
            self._hold.release()

    async def _open(self, table: GattTable) -> None:
        service = table.service or ("" if table.notify else gv.ENVIRONMENTAL_SENSING)
        last = last_addresses.get(self.port, "")
        seen = await search(self._target, service, within_s=SEARCH_S, last_address=last)
        self._stage = "connecting"
        self._hold = Hold.take(self.port, seen.address)
        peer = self._peer = Peer(self.port, seen, self._target.adapter)
        await peer.connect()
        self._stage = "subscribing"
        last_addresses[self.port] = seen.address
        self._arrivals = Arrivals(asyncio.get_running_loop())
        value = value_characteristic(peer, table)
        self._hold_back("address", seen.address.encode())
        if seen.name:
            self._hold_back("name", seen.name.encode())
        conditions = await self._describe(peer, value)
        await self._device(peer)
        await self._listen(peer, value, on_change=bool(conditions) and conditions[0] in BY_VALUE)

    async def _describe(self, peer: Peer, value: Any) -> bytes:
        """Hold back what the descriptors say; return ES Trigger Setting, empty where there is none."""
        trigger = b""
        for descriptor in sorted(value.descriptors, key=lambda d: d.handle):
            name = gv.short_uuid(descriptor.uuid)
            if name in DESCRIPTORS:
                with contextlib.suppress(PortError):
                    data = await peer.read_descriptor(descriptor)
                    self._hold_back(f"{gv.short_uuid(value.uuid)}/{name}", data)
                    trigger = data if name == gv.ES_TRIGGER else trigger
        return trigger

    async def _device(self, peer: Peer) -> None:
        """Hold back device information, battery and temperature; subscribe to the last two. None of it is needed."""
        for uuid in (*gv.DEVICE_FACTS, gv.BATTERY_LEVEL, gv.TEMPERATURE):
            found = peer.find(uuid)
            if found is None or uuid == self._value_uuid:
                continue
            if "read" in found.properties:
                with contextlib.suppress(PortError):
                    self._hold_back(uuid, await peer.read(found))
            if uuid in (gv.BATTERY_LEVEL, gv.TEMPERATURE) and notifies(found):
                with contextlib.suppress(PortError):
                    await peer.subscribe(found, partial(self._hold_back, uuid))

    async def _listen(self, peer: Peer, value: Any, *, on_change: bool) -> None:
        loop = asyncio.get_running_loop()
        self._quiet_since_s = loop.time()
        if notifies(value):
            await peer.subscribe(value, self._value, acquire=self._acquires)
            changed = peer.find(gv.DESCRIPTOR_VALUE_CHANGED)
            if changed is not None and notifies(changed):
                news = asyncio.Event()
                self._tasks.append(loop.create_task(self._describe_anew(peer, value, news)))
                with contextlib.suppress(PortError):
                    await peer.subscribe(changed, partial(self._changed, news))
        else:
            self._tasks.append(loop.create_task(self._poll(peer, value)))
        watch = self._watch(peer, value, self._every_s if on_change and notifies(value) else None)
        self._tasks.append(loop.create_task(watch))

    def _value(self, data: bytes) -> None:
        assert self._arrivals is not None
        self._quiet_since_s = asyncio.get_running_loop().time()
        for chunk in self._held.values():
            self._arrivals.put(chunk)
        self._held.clear()
        self._arrivals.put(Chunk(self._clock(), data, self._value_uuid))

    def _hold_back(self, channel: str, data: bytes) -> None:
        self._held.pop(channel, None)
        self._held[channel] = Chunk(self._clock(), data, channel)

    def _changed(self, news: asyncio.Event, data: bytes) -> None:
        self._hold_back(gv.DESCRIPTOR_VALUE_CHANGED, data)
        with contextlib.suppress(gv.NotThisLayout):
            if gv.changed_characteristic(data) == self._value_uuid:
                news.set()

    async def _describe_anew(self, peer: Peer, value: Any, news: asyncio.Event) -> None:
        """Read again what the descriptors say, as often as the device tells that it changed."""
        while True:
            await news.wait()
            news.clear()
            await self._describe(peer, value)

    async def _poll(self, peer: Peer, value: Any) -> None:
        """Read a value that the device does not send by itself."""
        loop = asyncio.get_running_loop()
        try:
            while True:
                due = loop.time() + self._every_s
                self._value(await peer.read(value))
                await asyncio.sleep(max(due - loop.time(), 0.0))
        except PortError as error:
            self._end(error)

    async def _watch(self, peer: Peer, value: Any, read_every_s: float | None) -> None:
        """End the link when it is lost or silent; while it is quiet, try whether it is there at all."""
        loop = asyncio.get_running_loop()
        step_s = read_every_s or min(PROBE_AFTER_S, self._silence_s / 2)
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(step_s):
                    await peer.lost.wait()
            if peer.lost.is_set():
                self._end(PortLost(self.port, "the instrument hung up or went out of reach"))
                return
            quiet_s = loop.time() - self._quiet_since_s
            if quiet_s >= self._silence_s:
                self._end(PortSilent(self.port, f"it is connected and sent no value for {self._silence_s:g} s"))
                return
            if quiet_s >= step_s and not await self._still_there(peer, value, poll=read_every_s is not None):
                return

    async def _still_there(self, peer: Peer, value: Any, *, poll: bool) -> bool:
        """Read something: the value where the device sends it on change only, else what disturbs nothing."""
        try:
            async with asyncio.timeout(PROBE_S):
                if poll and "read" in value.properties:
                    data = await peer.read(value)
                    if not peer.echoes_reads or self._acquires:
                        self._value(data)
                else:
                    await peer.probe(value)
        except TimeoutError:
            self._end(PortLost(self.port, "the instrument stopped answering"))
            return False
        except PortError as error:
            self._end(error)
            return False
        return True

    def _end(self, error: PortError) -> None:
        assert self._arrivals is not None
        self._arrivals.end(error)


DESCRIPTORS = (gv.USER_DESCRIPTION, gv.PRESENTATION_FORMAT, gv.ES_MEASUREMENT, gv.ES_TRIGGER)


def notifies(characteristic: Any) -> bool:
    """Whether the device sends this characteristic by itself."""
    return "notify" in characteristic.properties or "indicate" in characteristic.properties


def value_characteristic(peer: Peer, table: GattTable) -> Any:
    """The characteristic with the height or the serial line; PortMissing tells what the device has instead."""
    wanted = table.notify or table.characteristic
    found = peer.find(wanted, table.service) or peer.find(wanted)
    if found is None:
        has = ", ".join(dict.fromkeys(gv.short_uuid(c.uuid) for c in peer.characteristics()))
        raise PortMissing(peer.port, f"it is connected and has no characteristic {wanted}; it has {has or 'none'}")
    if not notifies(found) and "read" not in found.properties:
        raise PortMissing(peer.port, f"characteristic {wanted} can be neither read nor subscribed to")
    return found
