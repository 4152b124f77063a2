"""`ports --ble` and `listen ble://…` as a user runs them: what is on the screen and in the JSON."""

import asyncio
import json
import signal
import sys
from pathlib import Path

import pytest
from ble_bench import elevation_level, sends, serial_level, until
from click.testing import CliRunner, Result
from fake_bluez import FakeBluez
from fake_device import Peripheral

from drivers.errors import RadioOff
from drivers.transports.blocking import blocking
from tui.cli import exit_code
from tui.cli import risewalk as program


async def risewalk(*words: str) -> Result:
    """The program in a thread of its own, while the devices here go on playing."""
    return await blocking(lambda: CliRunner().invoke(program, words, standalone_mode=False))


async def test_ports_lists_what_advertises_and_which_file_fits(bluez: FakeBluez) -> None:
    bluez.bring(elevation_level())
    nameless = Peripheral(None, "D0:00:00:00:00:07", [], rssi=-99)
    wild = serial_level("\x1b[31m[bold]", "D0:00:00:00:00:08")
    wild.rssi = -80
    for device in (nameless, wild):
        bluez.bring(device)
    found = await risewalk("ports", "--ble", "--seconds", "0.5", "--json")
    assert found.exit_code == 0, found.output
    listed = json.loads(found.stdout)["advertising"]
    notes = listed[0].pop("notes")
    assert listed[0] == {
        "port": "ble://C4:F2:17:1A:1D:AA",
        "name": "LEVEL",
        "address": "C4:F2:17:1A:1D:AA",
        "rssi_dbm": -60,
        "services": ["181a"],
        "instruments": ["ble-elevation", "ble-pressure-water"],
    }
    assert notes[0] == "ble-elevation: Heights in steps of 10 mm: too coarse to set out steps."
    assert [each["name"] for each in listed] == ["LEVEL", "\x1b[31m[bold]", None]
    shown = (await risewalk("ports", "--ble", "--seconds", "0.5")).stdout
    lines = shown.splitlines()
    assert lines[:4] == [
        "ble://C4:F2:17:1A:1D:AA   -60 dBm  LEVEL",
        "    offers 181a",
        "    try --instrument ble-elevation or ble-pressure-water",
        f"    {notes[0]}",
    ]
    assert max(map(len, lines)) <= 80
    assert "\\x1b[31m[bold]" in shown
    assert "\x1b" not in shown
    assert "(no name)" in lines[-1]


async def test_ports_says_where_nothing_advertises_or_bluetooth_is_off(bluez: FakeBluez) -> None:
    found = await risewalk("ports", "--ble", "--seconds", "0.2")
    assert (found.exit_code, found.stdout) == (0, "")
    assert "nothing advertised in 0.2 s" in found.stderr
    bluez.power(on=False)
    refused = (await risewalk("ports", "--ble")).exception
    assert isinstance(refused, RadioOff)
    assert exit_code(refused) == 3
    assert "bluetoothctl power on" in str(refused)


async def test_what_was_heard_is_a_capture_that_the_file_reads(bluez: FakeBluez, tmp_path: Path) -> None:
    level = elevation_level()
    bluez.bring(level)
    sending = asyncio.create_task(sends(bluez, level, "2a6c", [b"\x7b\x00\x00", b"\x85\xff\xff"]))
    heard = await risewalk("listen", "ble://LEVEL", "--instrument", "ble-elevation", "--bytes", "--seconds", "1.5")
    sending.cancel()
    capture = tmp_path / "heard.txt"
    capture.write_text(heard.stdout)
    told = json.loads(
        (await risewalk("instruments", "check", "ble-elevation", "--against", str(capture), "--json")).stdout
    )
    assert {r["height_m"] for r in told["readings"]} == {1.23, -1.23}
    assert not any(told["rejects"].values())
    capture.write_text("2a6c 7b00\n2a6c 7B0000\n+1.2300 m\n2a6c 7b000\n")
    told = json.loads(
        (await risewalk("instruments", "check", "ble-elevation", "--against", str(capture), "--json")).stdout
    )
    assert [r["height_m"] for r in told["readings"]] == [1.23]
    assert told["rejects"]["length"] == 1
    capture.write_bytes(bytes(range(256)))
    refused = await risewalk("instruments", "check", "ble-elevation", "--against", str(capture))
    assert "a value such as 2a6c 7b0000" in str(refused.exception)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
async def test_a_listener_that_is_ended_lets_the_device_go(bluez: FakeBluez, number: signal.Signals) -> None:
    level = elevation_level()
    bluez.bring(level)
    words = ("-m", "tui.cli", "listen", "ble://LEVEL", "--instrument", "ble-elevation")
    listening = await asyncio.create_subprocess_exec(sys.executable, *words, stdout=asyncio.subprocess.DEVNULL)
    await until(lambda: level.characteristic("2a6c").listeners)
    listening.send_signal(number)
    await listening.wait()
    await until(lambda: not level.connected)


async def test_listen_identifies_and_follows_a_device(bluez: FakeBluez) -> None:
    level = elevation_level()
    bluez.bring(level)
    sending = asyncio.create_task(sends(bluez, level, "2a6c", [b"\x7b\x00\x00"]))
    found = await risewalk("listen", "ble://LEVEL", "--seconds", "0.6")
    assert "confidence 0.80" in found.stdout
    assert "steps of 10 mm are too coarse to set out steps" in found.stdout
    told = json.loads((await risewalk("listen", "ble://LEVEL", "--seconds", "0.6", "--json")).stdout)
    assert told["instrument"]["decoder"]["characteristic"] == "2a6c"
    assert told["readings"][-1]["height_m"] == 1.23
    words = ("listen", "ble://LEVEL", "--instrument", "ble-elevation", "--seconds", "2")
    followed = await risewalk(*words, "--json")
    sending.cancel()
    assert followed.exit_code == 0, followed.stderr
    told = json.loads(followed.stdout)
    assert {r["height_m"] for r in told["readings"]} == {1.23}
    assert told["device"]["manufacturer"] == "Bench"
    assert "steps of 10 mm: too coarse" in told["remarks"][0]
    assert followed.stderr.count("too coarse") == 1
