"""The instrument in the air of the virtual machine, played by bumble: its radio and the kernel's share one link.

The kernel's end is /dev/vhci. Commands on stdin, one a line, each answered `ok`: `steps N` (what Elevation shows),
`count` (each notification one step up), `hangup`, `mute`, `talk`.
"""

import asyncio
import struct
import sys

from bumble.controller import Controller
from bumble.core import AdvertisingData
from bumble.device import Device
from bumble.gatt import Characteristic, Descriptor, Service
from bumble.hci import Address, LeFeatureMask
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport import open_transport

ADDRESS = "C4:F2:17:1A:1D:AA"
EVERY_S = 0.1


def uuid(short: str) -> str:
    return f"0000{short}-0000-1000-8000-00805f9b34fb"


class Air(LocalLink):
    """The link, with each end known by the address of its connection: the kernel scans under another one."""

    def send_acl_data(self, sender_controller, destination_address, transport, data) -> None:
        held = (c for c in sender_controller.le_connections.values() if c.peer_address == destination_address)
        own = next((c.self_address for c in held), sender_controller.random_address)
        other = self.find_le_controller(destination_address)
        if other is not None:
            asyncio.get_running_loop().call_soon(lambda: other.on_link_acl_data(own, transport, data))


class Level:
    """Environmental Sensing with Elevation, battery and device information."""

    def __init__(self, device: Device) -> None:
        self.device = device
        self.steps, self.counting, self.muted = 0, False, False
        read = Characteristic.Properties.READ
        self.elevation = Characteristic(
            uuid("2a6c"), read | Characteristic.Properties.NOTIFY, Characteristic.READABLE, bytes(3),
            [Descriptor(uuid("2904"), Descriptor.READABLE, bytes.fromhex("0FFE0127010000"))],
        )  # fmt: skip
        battery = Characteristic(
            uuid("2a19"), read | Characteristic.Properties.NOTIFY, Characteristic.READABLE, b"\x57"
        )
        maker = Characteristic(uuid("2a29"), read, Characteristic.READABLE, b"Bench")
        device.add_services(
            [
                Service(uuid("180a"), [maker]),
                Service(uuid("180f"), [battery]),
                Service(uuid("181a"), [self.elevation]),
            ]
        )

    async def send(self) -> None:
        loop = asyncio.get_running_loop()
        due = loop.time()
        while True:
            due += EVERY_S
            await asyncio.sleep(max(due - loop.time(), 0))
            if self.muted:
                continue
            self.steps += self.counting
            self.elevation.value = self.steps.to_bytes(3, "little", signed=True)
            await self.device.notify_subscribers(self.elevation)

    async def obey(self, line: str) -> None:
        match line.split():
            case ["steps", number]:
                self.steps, self.counting = int(number), False
            case ["count"]:
                self.counting = True
            case ["mute"]:
                self.muted = True
            case ["talk"]:
                self.muted = False
            case ["hangup"]:
                for connection in list(self.device.connections.values()):
                    await connection.disconnect()


async def main() -> None:
    vhci = await open_transport("vhci")
    air = Air()
    kernel = Controller(
        "kernel", host_source=vhci.source, host_sink=vhci.sink, link=air, public_address="F0:F1:F2:F3:F4:01"
    )
    # The kernel waits for ever for an event that bumble does not send with these two features.
    kernel.le_features &= ~(LeFeatureMask.LL_PRIVACY | LeFeatureMask.LE_EXTENDED_ADVERTISING)
    radio = Controller("level", link=air)
    radio.random_address = Address(ADDRESS)
    host = Host()
    host.controller = radio
    device = Device(name="BENCH LEVEL", address=Address(ADDRESS), host=host)
    level = Level(device)
    await device.power_on()
    told = [
        (AdvertisingData.COMPLETE_LOCAL_NAME, b"BENCH LEVEL"),
        (AdvertisingData.INCOMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS, struct.pack("<H", 0x181A)),
    ]
    device.advertising_data = bytes(AdvertisingData(told))
    await device.start_advertising(auto_restart=True)
    sending = asyncio.create_task(level.send())
    commands = asyncio.StreamReader()
    await asyncio.get_running_loop().connect_read_pipe(lambda: asyncio.StreamReaderProtocol(commands), sys.stdin)
    print("ok", flush=True)
    while line := (await commands.readline()).decode():
        await level.obey(line)
        print("ok", flush=True)
    sending.cancel()


asyncio.run(main())
