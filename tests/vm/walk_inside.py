"""Run inside the virtual machine: the real BlueZ, the instrument played by bumble, a walk by `risewalk record`.

Each finding is printed as one line `FOUND {json}`; the host judges them.
"""

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
FOLDER = Path("/tmp/risewalk-vm-walk")
PORT = ["--port", "ble://BENCH%20LEVEL"]
FILE = """
[instrument]
name = "Bench level"
[decoder]
kind = "gatt"
characteristic = "2a6c"
[serial]
silence = "4 s"
[settle]
window = "1 s"
spread = "10 mm"
"""


def found(**what: object) -> None:
    print("FOUND " + json.dumps(what), flush=True)


class Spoken:
    """A program spoken to line by line."""

    def __init__(self, *words: str) -> None:
        self.process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.stdin, self.stdout = self.process.stdin, self.process.stdout

    def ask(self, line: str) -> str:
        self.stdin.write(line + "\n")
        return self.stdout.readline()


class Recorder(Spoken):
    def tag(self, line: str) -> dict[str, object]:
        answer = json.loads(self.ask(line))
        found(tag=line, answer=answer)
        return answer

    def linked(self, state: str, lost: int, within_s: float = 90) -> float:
        """Seconds until the recorder tells this state of the line after so many losses."""
        begun = time.monotonic()
        while time.monotonic() - begun < within_s:
            told = json.loads(self.ask("status"))
            if told["link"] == state and told["counts"]["links_lost"] == lost:
                return time.monotonic() - begun
            time.sleep(0.02)
        found(stuck=state, status=told)
        return float("nan")


def risewalk(*words: str) -> list[str]:
    return [sys.executable, "-m", "tui.cli", *words]


def output(*words: str) -> Any:
    done = subprocess.run(risewalk(*words), capture_output=True, text=True, timeout=120, check=False)
    if done.returncode != 0:
        found(failed=" ".join(words), code=done.returncode, said=done.stderr[-2000:])
        sys.exit(1)
    return json.loads(done.stdout)


def bluetoothd() -> subprocess.Popen[bytes]:
    with Path("/tmp/bluetoothd.log").open("ab") as log:
        return subprocess.Popen(["/usr/libexec/bluetooth/bluetoothd", "-n"], stdout=log, stderr=log)


def powered(within_s: float = 60) -> None:
    begun = time.monotonic()
    while time.monotonic() - begun < within_s:
        subprocess.run(["bluetoothctl", "power", "on"], capture_output=True, timeout=30, check=False)
        shown = subprocess.run(["bluetoothctl", "show"], capture_output=True, text=True, timeout=30, check=False)
        if "Powered: yes" in shown.stdout:
            return
        time.sleep(0.5)


def connected(within_s: float = 20) -> str:
    """The devices that are connected still after so long; empty as soon as there are none."""
    begun = time.monotonic()
    while True:
        told = subprocess.run(["bluetoothctl", "devices", "Connected"], capture_output=True, text=True, check=False)
        if not told.stdout.strip() or time.monotonic() - begun > within_s:
            return told.stdout.strip()
        time.sleep(0.2)


def main() -> None:
    os.environ["PATH"] = "/usr/local/bin:/usr/bin:/bin:/usr/sbin:/sbin"
    os.environ["HOME"] = "/root"
    FOLDER.mkdir()
    file = FOLDER / "level.toml"
    file.write_text(FILE)
    Path("/run/dbus").mkdir(exist_ok=True)
    subprocess.run(["dbus-daemon", "--system", "--fork"], check=True)
    service = bluetoothd()
    level = Spoken(sys.argv[1], str(HERE / "peripheral.py"))
    level.stdout.readline()
    powered()
    found(powered_after_s=time.monotonic())

    found(ports=output("ports", "--ble", "--json"))
    level.ask("count")
    listened = output("listen", *PORT[1:], "--instrument", str(file), "--seconds", "18", "--json")
    found(counted=[round(r["height_m"] * 100) for r in listened["readings"]])

    level.ask("steps 0")
    recorder = Recorder(*risewalk("record", str(FOLDER / "a.walk"), *PORT, "--instrument", str(file)))
    recorder.tag("benchmark BM")
    level.ask("steps 20")
    recorder.tag("station 1")
    level.ask("hangup")
    found(hang_up_noticed_s=recorder.linked("waiting", 1), back_s=recorder.linked("live", 1))
    level.ask("steps 0")
    recorder.tag("benchmark BM")
    level.ask("steps 40")
    recorder.tag("station 2")
    level.ask("mute")
    noticed_s = recorder.linked("waiting", 2)
    level.ask("talk")
    found(silence_noticed_s=noticed_s, back_s=recorder.linked("live", 2))
    level.ask("steps 0")
    recorder.tag("benchmark BM")
    service.kill()
    service.wait()
    noticed_s = recorder.linked("waiting", 3)
    service = bluetoothd()
    powered()
    found(kill_noticed_s=noticed_s, back_s=recorder.linked("live", 3))
    recorder.tag("benchmark BM")
    level.ask("steps 60")
    recorder.tag("station 3")
    recorder.stdin.close()
    begun = time.monotonic()
    found(ended=recorder.process.wait(30), ended_s=time.monotonic() - begun)
    found(still_connected=connected())
    found(profile=output("profile", str(FOLDER / "a.walk"), "--json"))
    found(verify=output("verify", str(FOLDER / "a.walk"), "--json"))


main()
