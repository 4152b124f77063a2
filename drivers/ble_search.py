"""Finding the one Bluetooth LE instrument that a port string means: by name, by address or by service.

What could be two instruments is never guessed: both are named and the person chooses.
"""

import asyncio
import time
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import parse_qs, unquote

from drivers.errors import PortMissing
from drivers.gatt_values import is_uuid, short_uuid
from drivers.radio import Seen, already_connected, scanning

SCHEME = "ble://"
SEARCH_S = 10.0
"""How long a device that does not show itself is looked for."""
TWINS_S = 1.0
"""How long after the first that fits others are listened for, so that two of the same name are noticed."""
OLD_ADDRESS_S = 3.0
"""How long the address of last time is waited for before the same name under another address is taken."""
LEAVING_S = 3.0
"""How long a device that is connected already is given to be let go: another program of this computer may just have
ended, and its disconnect takes two seconds. After that it was left so by a crash, and is taken over."""
NAMED = 6
"""Most devices named in a message."""


@dataclass(frozen=True, slots=True)
class Target:
    """What a port string asks for; empty text means any instrument that offers the service of its file."""

    port: str
    text: str
    adapter: str = ""

    @classmethod
    def parse(cls, port: str) -> "Target":
        """Read `ble://NAME`, `ble://ADDRESS` or `ble://SERVICE`, with `%20` for a blank if need be, `?adapter=hci1`."""
        rest = port[len(SCHEME) :] if port.lower().startswith(SCHEME) else port
        text, _, query = rest.partition("?")
        adapter = parse_qs(query).get("adapter", [""])[0]
        return cls(port, unquote(text).strip().strip("/"), adapter)

    def fits(self, seen: Seen, service: str) -> bool:
        """Whether this device may be the one meant."""
        if not self.text:
            return bool(service) and service in seen.services
        called = ((seen.name or "").casefold(), seen.address.casefold())
        return self.text.casefold() in called or self.service in seen.services

    @property
    def service(self) -> str:
        """The text as a service, empty if it cannot be one."""
        return short_uuid(self.text) if is_uuid(self.text) else ""

    def is_address(self, seen: Seen) -> bool:
        """Whether the text is the address of this very device."""
        return self.text.casefold() == seen.address.casefold()


async def search(target: Target, service: str, *, within_s: float, last_address: str = "") -> Seen:
    """Scan for the device a target means and return it, freshly seen.

    A device that fits and has the address of last time, or whose address was asked for, is taken at once. PortMissing
    says what was heard instead; it also says so where several fit.
    """
    begun = time.monotonic()
    ends = latest_end = begun + within_s
    heard: dict[str, Seen] = {}
    found_one = False
    async with scanning(target.port, target.adapter) as advertised:
        for seen in await already_connected((service, target.service), target.adapter):
            heard[seen.address] = seen
        while True:
            fitting = [seen for seen in heard.values() if target.fits(seen, service)]
            advertises = [seen for seen in fitting if not seen.connected]
            for seen in advertises:
                if target.is_address(seen) or seen.address == last_address:
                    return seen
            if advertises and not found_one:
                found_one = True
                ends = min(latest_end, time.monotonic() + (OLD_ADDRESS_S if last_address else TWINS_S))
            elif fitting and not found_one:
                ends = min(latest_end, begun + LEAVING_S)
            try:
                async with asyncio.timeout(max(ends - time.monotonic(), 0.0)):
                    latest = await advertised.get()
            except TimeoutError:
                break
            heard[latest.address] = latest
    if len(fitting) == 1:
        return fitting[0]
    raise PortMissing(target.port, _several(fitting) if fitting else _not_found(target, heard.values()))


def _several(fitting: Iterable[Seen]) -> str:
    return f"more than one instrument fits: {_named(fitting)}; name one by its address, ble://ADDRESS"


def _not_found(target: Target, heard: Iterable[Seen]) -> str:
    what = f"nothing called {target.text!r}" if target.text else "no instrument that fits"
    others = _named(heard)
    return (
        f"{what} is advertising; is it switched on, near, and not connected to a phone? "
        f"{f'Heard: {others}' if others else 'Nothing at all was heard'}; see risewalk ports --ble"
    )


def _named(heard: Iterable[Seen]) -> str:
    strongest = sorted(heard, key=lambda s: -(s.rssi or -127))
    names = [f"{s.name or 'without a name'} ({s.address})" for s in strongest[:NAMED]]
    return ", ".join(names) + (" and more" if len(strongest) > NAMED else "")
