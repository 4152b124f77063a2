"""What Bluetooth of this computer says when it cannot, as a sentence with what to do on this system."""

import sys
from collections.abc import Callable

from drivers.errors import PortBusy, PortDenied, PortError, PortLost, PortMissing, RadioMissing, RadioOff

SYSTEM = {"darwin": "macos", "win32": "windows"}
OFF = {
    "linux": "Bluetooth is switched off; run bluetoothctl power on (if that is refused, rfkill unblock bluetooth)",
    "macos": "Bluetooth is switched off; turn it on in System Settings, Bluetooth",
    "windows": "Bluetooth is switched off; turn it on in Settings, Bluetooth & devices",
}
MISSING = {
    "linux": "this computer has no Bluetooth LE adapter; plug one in, then see bluetoothctl list and rfkill list",
    "macos": "this computer has no Bluetooth LE adapter",
    "windows": "this computer has no Bluetooth LE adapter; plug one in and see Device Manager, Bluetooth",
}
DENIED = {
    "linux": "this user may not use Bluetooth; run sudo usermod -aG bluetooth $USER, then log out and in again",
    "macos": "this program may not use Bluetooth; allow the terminal in System Settings, Privacy & Security, Bluetooth",
    "windows": "this program may not use Bluetooth; allow it in Settings, Privacy & security, Radios",
}
STUCK = {
    "linux": "the Bluetooth service does not answer; run sudo systemctl restart bluetooth",
    "macos": "Bluetooth of this computer does not answer; turn it off and on in System Settings, Bluetooth",
    "windows": "Bluetooth of this computer does not answer; turn it off and on in Settings, Bluetooth & devices",
}
NO_SERVICE = "the Bluetooth service does not run; run sudo apt install bluez, then sudo systemctl start bluetooth"
NO_SYSTEM_BUS = "the system's message bus does not run; run sudo systemctl start dbus bluetooth"
UNPAIRED = "the instrument wants to be paired first; run bluetoothctl pair ADDRESS, or pair it in the system's settings"
TAKEN = "another program is listening to it or connecting to it; close that first"
GONE = "the link ended while it was being used"
REFUSED = "it was found and did not let us connect; is it connected to a phone, out of reach, or low on battery?"

DBUS = "org.freedesktop.DBus.Error."
BLUEZ = "org.bluez.Error."
BY_NAME: dict[str, tuple[type[PortError], str]] = {
    DBUS + "ServiceUnknown": (RadioMissing, NO_SERVICE),
    DBUS + "NameHasNoOwner": (RadioMissing, NO_SERVICE),
    DBUS + "NoReply": (PortLost, "the Bluetooth service stopped answering"),
    DBUS + "Disconnected": (PortLost, "the Bluetooth service stopped"),
    DBUS + "AccessDenied": (PortDenied, ""),
    DBUS + "UnknownObject": (PortLost, GONE),
    DBUS + "UnknownMethod": (PortLost, GONE),
    BLUEZ + "NotReady": (RadioOff, ""),
    BLUEZ + "Busy": (PortBusy, TAKEN),
    BLUEZ + "InProgress": (PortBusy, TAKEN),
    BLUEZ + "NotAuthorized": (PortDenied, UNPAIRED),
    BLUEZ + "AuthenticationFailed": (PortDenied, UNPAIRED),
    BLUEZ + "AuthenticationRejected": (PortDenied, UNPAIRED),
    BLUEZ + "NotConnected": (PortLost, GONE),
}
WANTS_PAIRING = {0x05, 0x08, 0x0C, 0x0F}
"""ATT errors: insufficient authentication, authorization, key size, encryption (Core Specification, Vol 3, Part F)."""


def fault(port: str, error: BaseException) -> PortError:
    """The error of ours that an exception of bleak, D-Bus or the system stands for."""
    from bleak.exc import (
        BleakBluetoothNotAvailableError,
        BleakDBusError,
        BleakDeviceNotFoundError,
        BleakGATTProtocolError,
    )

    match error:
        case PortError():
            return error
        case BleakBluetoothNotAvailableError():
            return _unavailable(port, error.reason.name)
        case BleakDBusError():
            return _dbus(port, error)
        case BleakGATTProtocolError():
            if error.args[0] in WANTS_PAIRING:
                return PortDenied(port, UNPAIRED)
            return PortLost(port, f"the instrument refused ({error.args[-1]})")
        case BleakDeviceNotFoundError():
            return PortMissing(port, "it was heard and then went away; bring it nearer and try again")
    return _system(port, error)


def not_answering() -> str:
    """What to do where Bluetooth takes a request and says nothing."""
    return _here(STUCK)


def _system(port: str, error: BaseException) -> PortError:
    match error:
        case PermissionError():
            return PortDenied(port, _here(DENIED))
        case FileNotFoundError() | ConnectionRefusedError():
            return RadioMissing(port, NO_SYSTEM_BUS)
        case EOFError() | ConnectionError():
            return PortLost(port, "the Bluetooth service stopped")
        case TimeoutError():
            return PortLost(port, "the instrument stopped answering")
        case ImportError():
            return RadioMissing(port, f"Bluetooth cannot be used here: {error}")
    text = str(error) or type(error).__name__
    if "adapter" in text and "not found" in text:
        return RadioMissing(port, f"{text}; see bluetoothctl list")
    return PortLost(port, f"{GONE} ({text})")


def _unavailable(port: str, reason: str) -> PortError:
    kind: Callable[[str, str], PortError]
    kind, advice = RadioMissing, MISSING
    if reason == "POWERED_OFF":
        kind, advice = RadioOff, OFF
    elif reason.startswith("DENIED"):
        kind, advice = PortDenied, DENIED
    return kind(port, _here(advice))


def _dbus(port: str, error: Exception) -> PortError:
    name, detail = str(error.args[0]), " ".join(str(a) for a in error.args[1:])
    if name == BLUEZ + "NotPermitted":
        return (
            PortBusy(port, TAKEN) if "acquired" in detail else PortDenied(port, f"it does not permit that ({detail})")
        )
    if name in (BLUEZ + "Failed", BLUEZ + "ConnectionAttemptFailed"):
        return PortMissing(port, f"{REFUSED} ({detail or 'no reason given'})")
    kind, advice = BY_NAME.get(name, (PortLost, f"{GONE} ({name}: {detail})"))
    if not advice:
        advice = _here(OFF if kind is RadioOff else DENIED)
    return kind(port, advice)


def _here(advice: dict[str, str]) -> str:
    return advice[SYSTEM.get(sys.platform, "linux")]
