"""Every way Bluetooth refuses, as an error of ours with what to do on each system.

Names of D-Bus errors: the D-Bus specification and BlueZ's documents; ATT error codes: Core Specification, Vol 3, Part F, 3.4.1.1.
"""

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)

from drivers.errors import PortBusy, PortDenied, PortError, PortLost, PortMissing, RadioMissing, RadioOff
from drivers.radio_faults import fault, not_answering

PORT = "ble://LEVEL"
Reason = BleakBluetoothNotAvailableReason
SYSTEMS = {"linux": "bluetoothctl", "darwin": "System Settings", "win32": "Settings"}


@pytest.mark.parametrize("system", SYSTEMS)
def test_off_denied_and_stuck_say_what_to_do_on_this_system(system: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.platform", system)
    off = fault(PORT, BleakBluetoothNotAvailableError("", Reason.POWERED_OFF))
    assert isinstance(off, RadioOff)
    assert SYSTEMS[system] in str(off)
    for reason in (Reason.DENIED_BY_USER, Reason.DENIED_BY_SYSTEM, Reason.DENIED_BY_UNKNOWN):
        denied = fault(PORT, BleakBluetoothNotAvailableError("", reason))
        assert isinstance(denied, PortDenied)
        assert ("usermod" if system == "linux" else "Settings") in str(denied)
    for reason in (Reason.NO_BLUETOOTH, Reason.NO_BLE_CENTRAL_ROLE, Reason.UNKNOWN):
        missing = fault(PORT, BleakBluetoothNotAvailableError("", reason))
        assert isinstance(missing, RadioMissing)
        assert "no Bluetooth LE adapter" in str(missing)
    assert ("systemctl" if system == "linux" else "Settings") in not_answering()


@pytest.mark.parametrize(
    ("name", "detail", "kind"),
    [
        ("org.freedesktop.DBus.Error.ServiceUnknown", "", RadioMissing),
        ("org.freedesktop.DBus.Error.NameHasNoOwner", "", RadioMissing),
        ("org.freedesktop.DBus.Error.NoReply", "", PortLost),
        ("org.freedesktop.DBus.Error.AccessDenied", "", PortDenied),
        ("org.freedesktop.DBus.Error.UnknownObject", "", PortLost),
        ("org.bluez.Error.NotReady", "", RadioOff),
        ("org.bluez.Error.InProgress", "", PortBusy),
        ("org.bluez.Error.NotPermitted", "Notify acquired", PortBusy),
        ("org.bluez.Error.NotPermitted", "Read not permitted", PortDenied),
        ("org.bluez.Error.NotAuthorized", "", PortDenied),
        ("org.bluez.Error.AuthenticationRejected", "", PortDenied),
        ("org.bluez.Error.NotConnected", "", PortLost),
        ("org.bluez.Error.Failed", "le-connection-abort-by-local", PortMissing),
        ("org.bluez.Error.Failed", "", PortMissing),
        ("org.example.Unheard.Of", "x", PortLost),
    ],
)
def test_errors_of_the_bus(name: str, detail: str, kind: type[PortError]) -> None:
    told = fault(PORT, BleakDBusError(name, [detail] if detail else []))
    assert type(told) is kind
    assert told.port == PORT


def test_every_refusal_of_a_device_is_named() -> None:
    """Authentication, authorization, key size and encryption ask for pairing; all others end the link."""
    for code in range(1, 256):
        told = fault(PORT, BleakGATTProtocolError(code))
        assert type(told) is (PortDenied if code in (0x05, 0x08, 0x0C, 0x0F) else PortLost)
        assert ("paired" if isinstance(told, PortDenied) else "refused") in str(told)


@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (BleakDeviceNotFoundError("x"), PortMissing, "went away"),
        (BleakError("adapter 'hci7' not found"), RadioMissing, "hci7"),
        (BleakError("Not connected"), PortLost, "Not connected"),
        (PermissionError(13, "x"), PortDenied, "usermod"),
        (FileNotFoundError(2, "x"), RadioMissing, "message bus"),
        (ConnectionRefusedError(111, "x"), RadioMissing, "message bus"),
        (EOFError(), PortLost, "service stopped"),
        (ConnectionResetError(104, "x"), PortLost, "service stopped"),
        (TimeoutError(), PortLost, "stopped answering"),
        (ImportError("no radio here"), RadioMissing, "no radio here"),
        (KeyError(), PortLost, "KeyError"),
    ],
)
def test_errors_of_the_system(
    error: BaseException, kind: type[PortError], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    told = fault(PORT, error)
    assert type(told) is kind
    assert words in str(told)


def test_an_error_of_ours_stays_what_it_is() -> None:
    ours = PortBusy(PORT, "somebody has it")
    assert fault(PORT, ours) is ours
