"""A walk recorded over Bluetooth by the real command, through everything that goes wrong with a radio."""

import asyncio
import json
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from ble_bench import elevation_level, until
from fake_bluez import FakeBluez
from fake_device import Peripheral

LEVEL_FILE = """
[instrument]
name = "Bench level"
[decoder]
kind = "gatt"
characteristic = "2a6c"
[serial]
silence = "1.5 s"
[settle]
window = "0.3 s"
spread = "10 mm"
"""

TWO_PERCENT = bytes.fromhex("000002" + "000000" * 2 + "00" + "04")
SCALE_U = 0.02 / 3**0.5
"""Limits of 2 % as a standard uncertainty (JCGM 100, 4.3.7)."""


class Bench:
    """The device on its stand: what it sends, ten times a second and more, while `mute` is not set."""

    def __init__(self, bluez: FakeBluez, device: Peripheral) -> None:
        self.bluez, self.device = bluez, device
        self.steps = 0
        self.mute = False

    async def send(self) -> None:
        while True:
            if not self.mute:
                self.bluez.notify(self.device, "2a6c", self.steps.to_bytes(3, "little", signed=True))
            await asyncio.sleep(0.02)


class Recorder:
    """`risewalk record`, spoken to line by line."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdin is not None
        assert process.stdout is not None
        self.stdin, self.stdout, self.process = process.stdin, process.stdout, process

    async def ask(self, line: str) -> dict[str, Any]:
        self.stdin.write(line.encode() + b"\n")
        answer = json.loads(await asyncio.wait_for(self.stdout.readline(), 60))
        assert isinstance(answer, dict)
        return answer

    async def linked(self, state: str, lost: int) -> None:
        """Wait until the recorder tells this state of the line, after so many losses."""
        async with asyncio.timeout(60):
            while True:
                told = await self.ask("status")
                if told["link"] == state and told["counts"]["links_lost"] == lost:
                    return
                await asyncio.sleep(0.05)


async def run(*words: str) -> tuple[int, str]:
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tui.cli", *words, stdout=asyncio.subprocess.PIPE
    )
    out, _ = await asyncio.wait_for(process.communicate(), 60)
    assert process.returncode is not None
    return process.returncode, out.decode()


@asynccontextmanager
async def recording(folder: Path) -> AsyncIterator[Recorder]:
    file = folder / "level.toml"
    file.write_text(LEVEL_FILE)
    words = ["record", str(folder / "a.walk"), "--port", "ble://LEVEL", "--instrument", str(file)]
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tui.cli", *words, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE
    )
    recorder = Recorder(process)
    try:
        yield recorder
    finally:
        recorder.stdin.close()
        assert await asyncio.wait_for(process.wait(), 60) == 0


async def test_a_walk_through_hang_up_silence_and_a_killed_service(bluez: FakeBluez, tmp_path: Path) -> None:
    level = elevation_level()
    level.characteristic("2a6c").descriptors["290c"] = TWO_PERCENT
    bluez.bring(level)
    bench = Bench(bluez, level)
    sending = asyncio.create_task(bench.send())
    async with recording(tmp_path) as recorder:
        assert (await recorder.ask("benchmark BM"))["ok"]
        bench.steps = 20
        answer = await recorder.ask("station 1")
        assert answer["above_zero_m"] == pytest.approx(0.2)
        assert answer["scale_u"] == pytest.approx(SCALE_U)
        told = await recorder.ask("status")
        assert told["device"]["manufacturer"] == "Bench"
        assert told["battery"] == 87.0
        assert any("too coarse" in remark for remark in told["remarks"])
        assert any("20 mm in a metre" in remark for remark in told["remarks"])

        bluez.hang_up(level)
        await recorder.linked("live", 1)
        assert (await recorder.ask("station 2"))["error"] == "needs_zero"
        bench.steps = 0
        assert (await recorder.ask("benchmark BM"))["ok"]
        bench.steps = 40
        assert (await recorder.ask("station 2"))["ok"]

        bench.mute = True
        await recorder.linked("waiting", 2)
        bench.mute = False
        await recorder.linked("live", 2)
        bench.steps = 0
        assert (await recorder.ask("benchmark BM"))["ok"]

        await bluez.kill()
        await until(lambda: not level.connected)
        await recorder.linked("waiting", 3)
        await bluez.start()
        await recorder.linked("live", 3)
        assert (await recorder.ask("benchmark BM"))["ok"]
        bench.steps = 60
        answer = await recorder.ask("station 3")
        assert answer["ok"]
        assert answer["u_m"] >= 0.01 / 12**0.5 * 0.99
    sending.cancel()
    await until(lambda: not level.connected)
    code, out = await run("profile", str(tmp_path / "a.walk"), "--json")
    assert code == 0
    points = json.loads(out)["points"]
    assert [(p["station_m"], round(p["elevation_m"], 6)) for p in points if p["station_m"]] == [
        (1.0, 0.2), (2.0, 0.4), (3.0, 0.6),
    ]  # fmt: skip
    assert points[-1]["u_m"] > 0.6 * SCALE_U
    code, out = await run("verify", str(tmp_path / "a.walk"), "--json")
    assert code == 0
    assert json.loads(out)["profile_identical"] is True


async def test_a_killed_recorder_leaves_a_device_that_the_next_one_takes_over(bluez: FakeBluez, tmp_path: Path) -> None:
    """BlueZ keeps the device connected, so it advertises no more; the session goes on where it was saved."""
    level = elevation_level()
    bluez.bring(level)
    bench = Bench(bluez, level)
    sending = asyncio.create_task(bench.send())
    file = tmp_path / "level.toml"
    file.write_text(LEVEL_FILE)
    words = ["record", str(tmp_path / "a.walk"), "--port", "ble://LEVEL", "--instrument", str(file)]
    killed = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tui.cli", *words, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE
    )
    assert (await Recorder(killed).ask("benchmark BM"))["ok"]
    killed.kill()
    await killed.wait()
    await until(lambda: not level.characteristic("2a6c").listeners)
    assert level.connected
    async with recording(tmp_path) as recorder:
        assert (await recorder.ask("benchmark BM"))["ok"]
        bench.steps = 20
        assert (await recorder.ask("station 1"))["above_zero_m"] == pytest.approx(0.2)
        assert (await recorder.ask("status"))["counts"]["observations"] == 3
    sending.cancel()
    await until(lambda: not level.connected)


async def test_a_device_that_is_not_there_exits_3(bluez: FakeBluez, tmp_path: Path) -> None:
    bluez.power(on=False)
    words = ["record", str(tmp_path / "a.walk"), "--port", "ble://LEVEL", "--instrument", "ble-elevation"]
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tui.cli", *words, stdin=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
    )
    _, told = await asyncio.wait_for(process.communicate(), 30)
    assert process.returncode == 3
    assert told.decode().count("\n") == 1
    assert "Bluetooth is switched off; run bluetoothctl power on" in told.decode()
