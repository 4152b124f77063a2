"""What is plugged in: ports with what the adapter tells of itself, and finding one again under another name."""

import asyncio
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drivers.errors import PortMissing
from drivers.transports.blocking import blocking

LISTING_S = 3.0
"""Listing ports asks the drivers, and a broken one may never answer."""


@dataclass(frozen=True, slots=True)
class Identity:
    """What an adapter keeps when its name changes: USB serial number, or vendor, product and where it is plugged."""

    vid: int | None = None
    pid: int | None = None
    serial_number: str | None = None
    location: str | None = None

    @property
    def known(self) -> bool:
        """Whether it tells one adapter from another."""
        return self.vid is not None

    def matches(self, other: "Identity") -> bool:
        """Whether this is the same adapter: same serial number where both have one, else same place."""
        if not self.known or (self.vid, self.pid) != (other.vid, other.pid):
            return False
        if self.serial_number or other.serial_number:
            return self.serial_number == other.serial_number
        return self.location is None or self.location == other.location

    def __str__(self) -> str:
        """As people read it: `0403:6001 serial A50285BI at 1-1.2`."""
        if not self.known:
            return ""
        serial = f" serial {self.serial_number}" if self.serial_number else ""
        place = f" at {self.location}" if self.location else ""
        return f"{self.vid:04x}:{self.pid:04x}{serial}{place}"


@dataclass(frozen=True, slots=True)
class PortSeen:
    """One port of this machine."""

    port: str
    description: str = ""
    identity: Identity = Identity()


ListPorts = Callable[[], Sequence[PortSeen]]


def plugged_in() -> list[PortSeen]:
    """Serial ports of this machine; never opens one. On macOS only the calling-out names (`cu.`)."""
    from serial.tools import list_ports

    seen = []
    for found in list_ports.comports():
        if sys.platform == "darwin" and "/tty." in found.device:
            continue
        if sys.platform.startswith("linux") and found.vid is None and found.device.startswith("/dev/ttyS"):
            if not found.hwid or found.hwid == "n/a":
                continue
        description = "" if found.description in (None, "n/a") else found.description
        identity = Identity(found.vid, found.pid, found.serial_number, found.location)
        seen.append(PortSeen(found.device, description, identity))
    return sorted(seen, key=lambda s: (not s.identity.known, s.port))


def _without_links(port: str) -> str:
    return os.path.realpath(port) if port.startswith("/") else port


class PortFinder:
    """Remembers what a port is and finds it again; lists in a thread, within a time limit."""

    def __init__(self, listing: ListPorts = plugged_in) -> None:
        self._listing = listing

    async def listed(self) -> Sequence[PortSeen]:
        """The ports now; empty if the system does not answer in time."""
        try:
            async with asyncio.timeout(LISTING_S):
                return await blocking(self._listing)
        except (TimeoutError, OSError):
            return []

    async def identity(self, port: str) -> Identity:
        """What the adapter at this port is; unknown for what is no USB adapter."""
        if "://" in port:
            return Identity()
        meant = (port, _without_links(port))
        return next((s.identity for s in await self.listed() if s.port in meant), Identity())

    async def find(self, port: str, identity: Identity) -> str:
        """Where that adapter is now; the port itself where it is no USB adapter. PortMissing if it is not there."""
        if not identity.known:
            return port
        seen = [s for s in await self.listed() if identity.matches(s.identity)]
        if not seen:
            raise PortMissing(port, f"the adapter ({identity}) is not plugged in")
        return next((s.port for s in seen if s.port == port), seen[0].port)
