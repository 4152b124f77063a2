"""Makes the golden session of a format version: a walk with every kind of tag, recorded over a pseudo-terminal.

    python tests/bench/golden.py fixtures/sessions/v1

Run once for each version of the session format, before its first release; what is there is never made again.
"""

import json
import os
import pty
import subprocess
import sys
import tempfile
import threading
import tty
from pathlib import Path

from logger.session.jsonl import export_jsonl

INSTRUMENT = """
[instrument]
name = "Hose level with thermometer, lines"
[decoder]
kind = "lines"
pattern = '^(?P<height>[+-]\\d+\\.\\d+) (?P<unit>m) (?P<temperature>-?\\d+\\.\\d) C'
[height]
unit = "m"
resolution = "0.1 mm"
accuracy = "1 mm"
[settle]
window = "0.5 s"
spread = "2 mm"
damping = "0.1 s"
"""
WALK = [
    (1.0, "benchmark BM 100 ft"),
    (0.95, "station 0 # foot of the bank"),
    (1.2, "station 6 ft 3 1/2 in"),
    (1.4, "station 1+00 left 2 ft"),
    (1.4, "note ŝtono — 石 [/x]"),
    (1.8, "turn TP1"),
    (1.0004, "benchmark BM"),
    (1.0004, "setup"),
    (1.0004, "station 9"),
    (0.3, "turn TP1"),
    (0.3, "rod 1 ft"),
    (0.9, "station 12 right 18 in"),
    (0.9, "strike 4 # tape slipped"),
    (0.9, "surface dug"),
    (0.7, "station 12"),
    (1.1, "point patio"),
    (0.75, "base 1 front"),
    (0.91, "built 1 front"),
    (0.91, "face 1 6 3/4 in left"),
    (1.0, "force station 15 ft"),
    (1.0, "end"),
]
OPTIONS = ["--job", "Alder Bank, steps to the garden", "--units", "ft-in", "--tape", "taut"]


def main() -> None:
    """Record the walk and write both forms of it."""
    out = Path(sys.argv[1])
    session, text = out.with_suffix(".walk"), out.with_suffix(".jsonl")
    if session.exists() or text.exists():
        sys.exit(f"{out} is there, and is never made again")
    master, slave = pty.openpty()
    tty.setraw(slave)
    height_m, stop = [1.0], threading.Event()

    def speak() -> None:
        count = 0
        while not stop.wait(0.05):
            count += 1
            shown = height_m[0] + 0.0003 * ((count * 7919) % 5 - 2)
            os.write(master, f"{shown:+.4f} m {18.5 + count / 400:.1f} C\r\n".encode())

    speaker = threading.Thread(target=speak)
    speaker.start()
    with tempfile.TemporaryDirectory() as place:
        instrument = Path(place) / "level.toml"
        instrument.write_text(INSTRUMENT)
        where = ["--port", os.ttyname(slave), "--instrument", str(instrument)]
        command = [sys.executable, "-m", "tui.cli", "record", str(session), *where, *OPTIONS]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdin is not None
            assert process.stdout is not None
            for height_m[0], line in WALK:
                stop.wait(0.12)
                process.stdin.write(line + "\n")
                process.stdin.flush()
                print(line, json.loads(process.stdout.readline())["ok"])
    stop.set()
    speaker.join()
    with text.open("w", encoding="utf-8") as stream:
        export_jsonl(session, stream)


if __name__ == "__main__":
    main()
