"""`ports` as its users run it, on this machine and on machines with nothing, or two adapters, plugged in."""

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from tui.cli.ports import command


def adapter(device: str, **what: object) -> ListPortInfo:
    seen = ListPortInfo(device, skip_link_detection=True)
    for name, value in what.items():
        setattr(seen, name, value)
    return seen


def plugged(monkeypatch: pytest.MonkeyPatch, *ports: ListPortInfo) -> None:
    monkeypatch.setattr(list_ports, "comports", lambda: list(ports))


def test_nothing_plugged_in_says_so_aside(monkeypatch: pytest.MonkeyPatch) -> None:
    plugged(monkeypatch)
    done = CliRunner().invoke(command, [])
    assert done.exit_code == 0
    assert done.stdout == ""
    assert "nothing is plugged in" in done.stderr


def test_nothing_plugged_in_as_json(monkeypatch: pytest.MonkeyPatch) -> None:
    plugged(monkeypatch)
    done = CliRunner().invoke(command, ["--json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["ports"] == []
    assert done.stderr == ""


def test_adapters_come_first_with_all_they_tell(monkeypatch: pytest.MonkeyPatch) -> None:
    bare = adapter("/dev/ttyAMA0", hwid="fe201000.serial")
    usb = adapter(
        "/dev/ttyUSB3", description="USB serial", vid=0x0403, pid=0x6001, serial_number="A50285BI", location="1-1.2"
    )
    unused = adapter("/dev/ttyS7")
    plugged(monkeypatch, unused, bare, usb)
    ports = json.loads(CliRunner().invoke(command, ["--json"]).stdout)["ports"]
    assert [p["port"] for p in ports] == ["/dev/ttyUSB3", "/dev/ttyAMA0"]
    assert ports[0] == {
        "port": "/dev/ttyUSB3",
        "description": "USB serial",
        "vid": 0x0403,
        "pid": 0x6001,
        "serial_number": "A50285BI",
        "location": "1-1.2",
        "identity": "0403:6001 serial A50285BI at 1-1.2",
    }
    assert ports[1]["identity"] == ""
    text = CliRunner().invoke(command, []).stdout.splitlines()
    assert text[0].split() == ["/dev/ttyUSB3", "USB", "serial", "0403:6001", "serial", "A50285BI", "at", "1-1.2"]


def test_broken_listing_is_an_empty_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> list[ListPortInfo]:
        raise OSError("no /sys here")

    monkeypatch.setattr(list_ports, "comports", broken)
    done = CliRunner().invoke(command, ["--json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["ports"] == []


def test_on_this_machine() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tui.cli", "ports", "--json"], capture_output=True, text=True, timeout=30
    )
    assert done.returncode == 0, done.stderr
    ports = json.loads(done.stdout)["ports"]
    theirs = {p.device for p in list_ports.comports()}
    assert {p["port"] for p in ports} <= theirs
