"""What the small BlueZ of these tests has in its air: peripherals with services, characteristics and descriptors."""

import socket
from dataclasses import dataclass, field
from typing import Any

from dbus_fast import Variant

ADAPTER = "/org/bluez/hci0"
KINDS = {
    "Address": "s",
    "AddressType": "s",
    "Name": "s",
    "Alias": "s",
    "Powered": "b",
    "Discovering": "b",
    "Roles": "as",
    "UUIDs": "as",
    "Paired": "b",
    "Trusted": "b",
    "Blocked": "b",
    "Connected": "b",
    "ServicesResolved": "b",
    "RSSI": "n",
    "Adapter": "o",
    "UUID": "s",
    "Primary": "b",
    "Device": "o",
    "Service": "o",
    "Characteristic": "o",
    "Value": "ay",
    "Flags": "as",
    "Notifying": "b",
    "NotifyAcquired": "b",
    "MTU": "q",
}
"""Signatures of the properties used here."""


def long(uuid: str) -> str:
    return f"0000{uuid.lower()}-0000-1000-8000-00805f9b34fb" if len(uuid) == 4 else uuid.lower()


@dataclass
class Characteristic:
    """One characteristic of a peripheral; `descriptors` by UUID."""

    uuid: str
    flags: tuple[str, ...] = ("read", "notify")
    value: bytes = b""
    descriptors: dict[str, bytes] = field(default_factory=dict)
    path: str = ""
    listeners: list[str] = field(default_factory=list)
    most_listeners: int = 0
    sockets: list[socket.socket] = field(default_factory=list)
    written: list[bytes] = field(default_factory=list)
    early: list[bytes] = field(default_factory=list)
    """Values sent after StartNotify is asked for and before it is answered."""


@dataclass
class Service:
    uuid: str
    characteristics: list[Characteristic]


@dataclass(eq=False)
class Peripheral:
    """What advertises. `fault` bends it: `deaf` (a connect never ends), `refuses` (it fails), `hung` (no reads)."""

    name: str | None
    address: str
    services: list[Service]
    advertised: tuple[str, ...] = ()
    rssi: int = -60
    fault: str = ""
    connected: bool = False

    @property
    def path(self) -> str:
        return f"{ADAPTER}/dev_{self.address.replace(':', '_')}"

    def characteristic(self, uuid: str) -> Characteristic:
        return next(c for s in self.services for c in s.characteristics if c.uuid == uuid)


def variants(interfaces: dict[str, dict[str, Any]]) -> dict[str, dict[str, Variant]]:
    return {i: {n: Variant(KINDS[n], v) for n, v in properties.items()} for i, properties in interfaces.items()}
