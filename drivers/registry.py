"""Which transport serves a port string and which decoder an instrument: built-in ones, then plug-ins by entry point.

Names are listed without importing anything; a plug-in that cannot be loaded is a message, never a crash.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from drivers.decoders import Decoder
from drivers.errors import InstrumentFileError, PortMissing
from drivers.instrument import InstrumentFile
from drivers.transports import Transport

Clock = Callable[[], float]
MakeTransport = Callable[[str, InstrumentFile, Clock], Transport]

TRANSPORTS = {
    "serial": "drivers.transports.serial_port:SerialTransport",
    "sim": "drivers.transports.simulated:SimulatedTransport",
    "ble": "drivers.transports.ble:BleTransport",
}
SERIAL_SCHEMES = {"socket", "rfc2217", "loop", "spy", "alt", "hwgrep", "cp2110"}
"""What pyserial opens by a scheme; a name without one is a serial port too."""
DECODERS = {
    "lines": "drivers.decoders.lines:LinesDecoder",
    "nmea0183": "drivers.decoders.nmea0183:NmeaDecoder",
    "scpi": "drivers.decoders.scpi:ScpiDecoder",
    "modbus": "drivers.decoders.modbus:ModbusDecoder",
    "frames": "drivers.decoders.frames:FramesDecoder",
    "gatt": "drivers.decoders.gatt:GattDecoder",
}
TRANSPORT_GROUP = "risewalk.transports"
DECODER_GROUP = "risewalk.decoders"


@dataclass(frozen=True, slots=True)
class Listed:
    """One transport or decoder by name; `package` is where it comes from, empty for our own."""

    name: str
    package: str = ""


def scheme_of(port: str) -> str:
    """The name of the transport that serves a port string."""
    scheme, found, _ = port.partition("://")
    return "serial" if not found or scheme.lower() in SERIAL_SCHEMES else scheme.lower()


def make_transport(port: str, instrument: InstrumentFile, clock: Clock = time.monotonic) -> Transport:
    """The transport for a port string, not opened yet; PortMissing if nothing serves it or the plug-in is broken."""
    scheme = scheme_of(port)
    try:
        factory = _load(scheme, TRANSPORTS, TRANSPORT_GROUP)
    except LookupError:
        known = ", ".join(t.name for t in list_transports())
        raise PortMissing(port, f"nothing here opens {scheme}://; known are {known}") from None
    except Broken as error:
        raise PortMissing(port, str(error)) from None
    made: Transport = factory(port, instrument, clock)
    return made


def make_decoder(instrument: InstrumentFile) -> Decoder:
    """The decoder an instrument file names; InstrumentFileError if there is none or the plug-in is broken."""
    kind, name = instrument.decoder.kind, instrument.instrument.name
    try:
        factory = _load(kind, DECODERS, DECODER_GROUP)
    except LookupError:
        known = ", ".join(d.name for d in list_decoders())
        raise InstrumentFileError(name, [f"decoder.kind: no decoder {kind!r}; known are {known}"]) from None
    except Broken as error:
        raise InstrumentFileError(name, [f"decoder.kind: {error}"]) from None
    made: Decoder = factory(instrument)
    return made


def list_transports() -> list[Listed]:
    """All transports by name, nothing imported."""
    return _listed(TRANSPORTS, TRANSPORT_GROUP)


def list_decoders() -> list[Listed]:
    """All decoders by name, nothing imported."""
    return _listed(DECODERS, DECODER_GROUP)


class Broken(Exception):
    """A plug-in is installed and cannot be loaded."""


def _listed(built_in: dict[str, str], group: str) -> list[Listed]:
    plugged = (Listed(e.name, _package(e)) for e in entry_points(group=group) if e.name not in built_in)
    return [*(Listed(name) for name in built_in), *sorted(plugged, key=lambda p: p.name)]


def _package(entry: EntryPoint) -> str:
    return entry.dist.name if entry.dist is not None else entry.value


def _load(name: str, built_in: dict[str, str], group: str) -> Any:
    if name in built_in:
        module, _, attribute = built_in[name].partition(":")
        return getattr(import_module(module), attribute)
    for entry in entry_points(group=group, name=name):
        try:
            return entry.load()
        except Exception as error:
            why = f"the plug-in {name} of package {_package(entry)} cannot be loaded: {type(error).__name__}: {error}"
            raise Broken(why) from error
    raise LookupError(name)
