"""A small `org.bluez` on a private bus, enough for the unmodified bleak: adapters, discovery, devices, GATT.

Signals come in the order real BlueZ sends them (BlueZ 5.66 watched with dbus-monitor in the machine of tests/vm):
Connected, the answer to Connect, the GATT objects, UUIDs with ServicesResolved; at the end ServicesResolved, the answer
to Disconnect, Connected; Notifying before the answer to StartNotify. Like the real one it sends a value once for each
client that asked for notifications, to everybody; it answers a read and sends the value too; it keeps a device
connected after its client has gone; and it remembers who asked for notifications across a lost link.
"""

import asyncio
import contextlib
import os
import socket
from collections.abc import Iterable
from typing import Any

from dbus_fast import Message, MessageType
from dbus_fast.aio import MessageBus
from fake_device import ADAPTER, Characteristic, Peripheral, long, variants

PROPERTIES = "org.freedesktop.DBus.Properties"
MANAGER = "org.freedesktop.DBus.ObjectManager"


class FakeBluez:
    """The service; `start` claims the name on the bus, `kill` drops off it as a killed daemon does."""

    def __init__(self, address: str, *, adapter: bool = True, powered: bool = True) -> None:
        self._address = address
        self._bus: MessageBus | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self.objects: dict[str, dict[str, dict[str, Any]]] = {}
        self.near: list[Peripheral] = []
        self.calls: list[tuple[str, str]] = []
        self.discovering: set[str] = set()
        self.answers = asyncio.Event()
        """Whether StartDiscovery is answered; it is done either way."""
        self.answers.set()
        if adapter:
            self.objects[ADAPTER] = {
                "org.bluez.Adapter1": {
                    "Address": "00:11:22:33:44:55",
                    "AddressType": "public",
                    "Name": "bench",
                    "Alias": "bench",
                    "Powered": powered,
                    "Discovering": False,
                    "Roles": ["central", "peripheral"],
                    "UUIDs": [],
                }
            }

    async def start(self) -> None:
        bus = await MessageBus(self._address, negotiate_unix_fd=True).connect()
        bus.add_message_handler(self._on_message)
        await bus.call(
            Message(
                destination="org.freedesktop.DBus",
                path="/org/freedesktop/DBus",
                interface="org.freedesktop.DBus",
                member="AddMatch",
                signature="s",
                body=["type='signal',member='NameOwnerChanged'"],
            )
        )
        self._bus = bus
        await bus.request_name("org.bluez")

    async def kill(self) -> None:
        """Gone without a word: no signal about devices, sockets closed by the kernel, links dropped."""
        for task in list(self._tasks):
            task.cancel()
        for peripheral in self.near:
            peripheral.connected = False
            for found in (c for s in peripheral.services for c in s.characteristics):
                found.listeners.clear()
                self._close_sockets(found)
        for path in [p for p in self.objects if p != ADAPTER]:
            del self.objects[path]
        self.discovering.clear()
        bus, self._bus = self._bus, None
        if bus is not None:
            with contextlib.suppress(EOFError, OSError):
                bus.disconnect()
                await bus.wait_for_disconnect()

    # What a test makes happen.

    def bring(self, peripheral: Peripheral) -> None:
        """It starts to advertise in range."""
        self.near.append(peripheral)
        if self.discovering:
            self._advertise(peripheral)

    def take_away(self, peripheral: Peripheral, *, forget: bool = True) -> None:
        """Out of range or switched off: the link ends, nothing advertises, and BlueZ forgets it in time."""
        self.near.remove(peripheral)
        self.hang_up(peripheral)
        if forget:
            self._forget(peripheral)

    def connect(self, peripheral: Peripheral) -> None:
        """Another program of this computer is connected to it."""
        peripheral.connected = True
        self._change(peripheral.path, "org.bluez.Device1", Connected=True, ServicesResolved=True)

    def hang_up(self, peripheral: Peripheral, *, answer: Message | None = None) -> None:
        """The link ends; asked-for notifications are remembered, as real BlueZ does."""
        if not peripheral.connected:
            return
        peripheral.connected = False
        for found in (c for s in peripheral.services for c in s.characteristics):
            self._close_sockets(found)
        self._change(peripheral.path, "org.bluez.Device1", ServicesResolved=False)
        if answer is not None:
            self._reply(answer)
        self._change(peripheral.path, "org.bluez.Device1", Connected=False)
        if self.discovering and peripheral in self.near:
            self._advertise(peripheral)

    def power(self, *, on: bool) -> None:
        """The adapter is switched; off ends every link and removes what was only heard in a scan."""
        if not on:
            self.discovering.clear()
            for peripheral in self.near:
                self.hang_up(peripheral)
                self._forget(peripheral)
        self._change(ADAPTER, "org.bluez.Adapter1", Powered=on, Discovering=False)

    def notify(self, peripheral: Peripheral, uuid: str, value: bytes) -> None:
        """One notification over the air; lost where nobody asked for it, as it is on a real link."""
        found = peripheral.characteristic(uuid)
        found.value = value
        if not peripheral.connected:
            return
        for _ in found.listeners:
            self._change(found.path, "org.bluez.GattCharacteristic1", Value=value)
        for end in found.sockets:
            end.send(value)

    # The D-Bus side.

    def _on_message(self, message: Message) -> bool:
        if message.message_type is MessageType.SIGNAL and message.member == "NameOwnerChanged":
            name, _, new = message.body
            if not new:
                self._client_gone(name)
            return False
        if message.message_type is not MessageType.METHOD_CALL or message.destination == "org.freedesktop.DBus":
            return False
        self.calls.append((message.member, message.path))
        task = asyncio.get_running_loop().create_task(self._answer(message))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return True

    async def _answer(self, message: Message) -> None:
        method = getattr(self, f"_do_{message.member}", None)
        if message.member == "GetManagedObjects":
            self._reply(message, "a{oa{sa{sv}}}", [{p: variants(i) for p, i in self.objects.items()}])
        elif message.path not in self.objects:
            self._fail(message, "org.freedesktop.DBus.Error.UnknownObject", f"no object {message.path}")
        elif method is None:
            self._fail(message, "org.freedesktop.DBus.Error.UnknownMethod", str(message.member))
        else:
            await method(message)

    async def _do_SetDiscoveryFilter(self, message: Message) -> None:
        self._reply(message)

    async def _do_StartDiscovery(self, message: Message) -> None:
        if not self.objects[ADAPTER]["org.bluez.Adapter1"]["Powered"]:
            self._fail(message, "org.bluez.Error.NotReady", "Resource Not Ready")
            return
        self.discovering.add(message.sender)
        await self.answers.wait()
        self._reply(message)
        self._change(ADAPTER, "org.bluez.Adapter1", Discovering=True)
        for peripheral in list(self.near):
            self._advertise(peripheral)

    async def _do_StopDiscovery(self, message: Message) -> None:
        if message.sender not in self.discovering:
            self._fail(message, "org.bluez.Error.Failed", "No discovery started")
            return
        self.discovering.discard(message.sender)
        self._reply(message)
        for peripheral in self.near:
            if peripheral.path in self.objects:
                self._invalidate(peripheral.path, "org.bluez.Device1", "RSSI")
        self._change(ADAPTER, "org.bluez.Adapter1", Discovering=False)

    async def _do_Connect(self, message: Message) -> None:
        peripheral = self._peripheral(message.path)
        if peripheral is None or peripheral.fault == "refuses":
            self._fail(message, "org.bluez.Error.Failed", "le-connection-abort-by-peer")
            return
        if peripheral.fault == "deaf":
            return
        peripheral.connected = True
        self._change(peripheral.path, "org.bluez.Device1", Connected=True)
        self._reply(message)
        await asyncio.sleep(0)
        self._add_services(peripheral)
        uuids = [long(s.uuid) for s in peripheral.services]
        self._change(peripheral.path, "org.bluez.Device1", UUIDs=uuids, ServicesResolved=True)
        for found in (c for s in peripheral.services for c in s.characteristics):
            if found.listeners:
                self._change(found.path, "org.bluez.GattCharacteristic1", Notifying=True)

    async def _do_Disconnect(self, message: Message) -> None:
        peripheral = self._peripheral(message.path)
        if peripheral is None or not peripheral.connected:
            self._fail(message, "org.bluez.Error.NotConnected", "Not Connected")
            return
        for found in (c for s in peripheral.services for c in s.characteristics):
            if message.sender in found.listeners:
                found.listeners.remove(message.sender)
        self.hang_up(peripheral, answer=message)

    async def _do_StartNotify(self, message: Message) -> None:
        peripheral, found = self._found(message.path)
        if not {"notify", "indicate"} & set(found.flags):
            self._fail(message, "org.bluez.Error.NotSupported", "Operation is not supported")
            return
        if message.sender in found.listeners:
            self._fail(message, "org.bluez.Error.InProgress", "In Progress")
            return
        found.listeners.append(message.sender)
        found.most_listeners = max(found.most_listeners, len(found.listeners))
        for value in found.early:
            self.notify(peripheral, found.uuid, value)
        await asyncio.sleep(0)
        self._change(found.path, "org.bluez.GattCharacteristic1", Notifying=True)
        self._reply(message)

    async def _do_StopNotify(self, message: Message) -> None:
        _, found = self._found(message.path)
        if message.sender in found.listeners:
            found.listeners.remove(message.sender)
        self._reply(message)

    async def _do_AcquireNotify(self, message: Message) -> None:
        _, found = self._found(message.path)
        if found.sockets:
            self._fail(message, "org.bluez.Error.NotPermitted", "Notify acquired")
            return
        ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        found.sockets.append(ours)
        self._change(found.path, "org.bluez.GattCharacteristic1", NotifyAcquired=True)
        assert self._bus is not None
        await self._bus.send(Message.new_method_return(message, "hq", [0, 247], unix_fds=[theirs.fileno()]))
        os.close(theirs.detach())

    async def _do_ReadValue(self, message: Message) -> None:
        peripheral = next(p for p in self.near if message.path.startswith(p.path))
        if peripheral.fault == "hung":
            return
        for interface in ("org.bluez.GattCharacteristic1", "org.bluez.GattDescriptor1"):
            if (properties := self.objects[message.path].get(interface)) is not None:
                value = properties["Value"]
                if interface == "org.bluez.GattCharacteristic1":
                    found = self._found(message.path)[1]
                    if "read" not in found.flags:
                        self._fail(message, "org.bluez.Error.NotPermitted", "Read not permitted")
                        return
                    value = found.value
                self._change(message.path, interface, Value=value)
                self._reply(message, "ay", [value])

    async def _do_WriteValue(self, message: Message) -> None:
        self._found(message.path)[1].written.append(bytes(message.body[0]))
        self._reply(message)

    # Objects and signals.

    def _peripheral(self, path: str) -> Peripheral | None:
        return next((p for p in self.near if p.path == path), None)

    def _found(self, path: str) -> tuple[Peripheral, Characteristic]:
        return next((p, c) for p in self.near for s in p.services for c in s.characteristics if c.path == path)

    def _advertise(self, peripheral: Peripheral) -> None:
        if peripheral.connected:
            return
        if peripheral.path in self.objects:
            self._change(peripheral.path, "org.bluez.Device1", RSSI=peripheral.rssi)
            return
        properties = {
            "Address": peripheral.address,
            "AddressType": "random",
            "Alias": peripheral.name or peripheral.address.replace(":", "-"),
            "Paired": False,
            "Trusted": False,
            "Blocked": False,
            "Connected": False,
            "UUIDs": [long(u) for u in peripheral.advertised],
            "Adapter": ADAPTER,
            "ServicesResolved": False,
            "RSSI": peripheral.rssi,
        }
        if peripheral.name is not None:
            properties["Name"] = peripheral.name
        self._add(peripheral.path, "org.bluez.Device1", properties)

    def _add_services(self, peripheral: Peripheral) -> None:
        handle = 1
        for service in peripheral.services:
            at = f"{peripheral.path}/service{handle:04x}"
            known = {"UUID": long(service.uuid), "Primary": True, "Device": peripheral.path}
            self._add(at, "org.bluez.GattService1", known)
            for found in service.characteristics:
                handle += 1
                found.path = f"{at}/char{handle:04x}"
                properties: dict[str, Any] = {
                    "UUID": long(found.uuid),
                    "Service": at,
                    "Value": b"",
                    "Flags": list(found.flags),
                    "Notifying": False,
                    "MTU": 247,
                }
                if {"notify", "indicate"} & set(found.flags):
                    properties["NotifyAcquired"] = False
                self._add(found.path, "org.bluez.GattCharacteristic1", properties)
                handle += 1
                for uuid, value in found.descriptors.items():
                    handle += 1
                    described = {"UUID": long(uuid), "Characteristic": found.path, "Value": value}
                    self._add(f"{found.path}/desc{handle:04x}", "org.bluez.GattDescriptor1", described)
            handle += 1

    def _forget(self, peripheral: Peripheral) -> None:
        for path in [p for p in self.objects if p.startswith(peripheral.path)][::-1]:
            interfaces = list(self.objects.pop(path))
            self._signal("/", MANAGER, "InterfacesRemoved", "oas", [path, interfaces])

    def _client_gone(self, name: str) -> None:
        self.discovering.discard(name)
        for found in (c for p in self.near for s in p.services for c in s.characteristics):
            while name in found.listeners:
                found.listeners.remove(name)

    def _close_sockets(self, found: Characteristic) -> None:
        for end in found.sockets:
            end.close()
        found.sockets.clear()

    def _add(self, path: str, interface: str, properties: dict[str, Any]) -> None:
        if path in self.objects:
            return
        self.objects[path] = {interface: properties}
        self._signal("/", MANAGER, "InterfacesAdded", "oa{sa{sv}}", [path, variants({interface: properties})])

    def _change(self, path: str, interface: str, **changed: Any) -> None:
        self.objects[path][interface].update(changed)
        told = variants({interface: changed})[interface]
        self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, told, []])

    def _invalidate(self, path: str, interface: str, name: str) -> None:
        self.objects[path][interface].pop(name, None)
        self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", [interface, {}, [name]])

    def _signal(self, path: str, interface: str, member: str, signature: str, body: list[Any]) -> None:
        if self._bus is not None:
            self._bus.send(Message.new_signal(path, interface, member, signature, body))

    def _reply(self, message: Message, signature: str = "", body: Iterable[Any] = ()) -> None:
        if self._bus is not None:
            self._bus.send(Message.new_method_return(message, signature, list(body)))

    def _fail(self, message: Message, name: str, text: str) -> None:
        if self._bus is not None:
            self._bus.send(Message.new_error(message, name, text))
