"""What was called saved is there afterwards: kills, power cuts, full disks, files that go away, counted.

    python tests/bench/durability.py                         all of it, as reported in DEVELOPERS.md (some minutes)
    python tests/bench/durability.py --kills 20 --cuts 500   a smaller run

The recorder is the real command on a `replay://` port that gives 200 lines a second; it is told to save notes and
forced stations as fast as it answers.
"""

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import powercut

from drivers.instrument import parse
from logger.errors import RiseError
from logger.recorder.settings import Settings
from logger.session.events import Draft, EventKind, raw_draft
from logger.session.packing import RawChunk
from logger.session.store import Session
from logger.session.verify import verify

LINES = """
[instrument]
name = "Hose level, lines"
[decoder]
kind = "lines"
pattern = '(?P<height>[+-]?\\d+\\.\\d+)'
[height]
unit = "m"
"""
HZ = 200
RECORD = [sys.executable, "-m", "tui.cli", "record"]


@dataclass(slots=True)
class Tally:
    """What a proof found: `lost` counts answered tags that are not in the file, `corrupt` files that do not verify."""

    runs: int = 0
    answered: int = 0
    lost: int = 0
    corrupt: int = 0
    notes: dict[str, Any] = field(default_factory=dict)


def source(folder: Path, seconds: int = 120) -> Path:
    """A session to be replayed as the instrument: two centimetres of slow movement at 200 Hz."""
    path = folder / "source.walk"
    with Session.create(path) as session:
        settings = Settings("loop://", parse(LINES, "the bench"))
        session.append([Draft(0, 0, EventKind.OPENED, settings.opened(resumed=False, gap=False))])
        for second in range(seconds):
            times = range(second * 1_000_000, (second + 1) * 1_000_000, 1_000_000 // HZ)
            session.append(
                [raw_draft(times[-1], [RawChunk(t, f"1.{t // 5000 % 200:04d}\r\n".encode()) for t in times])]
            )
    return path


def recorder(file: Path, port: str, prefix: tuple[str, ...] = ()) -> subprocess.Popen[bytes]:
    """The real command, tag commands on its stdin."""
    return subprocess.Popen(
        [*prefix, *RECORD, str(file), "--port", port],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def saved(file: Path) -> tuple[set[int], set[str]]:
    """Numbers of the observations and texts of the notes in a session that verifies."""
    verify(file)
    with Session.open(file) as session:
        events = list(session.events(raw=False))
    numbers = {e.body["n"] for e in events if e.kind == EventKind.OBSERVED}
    return numbers, {e.body["text"] for e in events if e.kind == EventKind.NOTED}


def missing(answers: list[dict[str, Any]], file: Path) -> int:
    """How many answered tags and notes a session does not hold."""
    numbers, notes = saved(file)
    lost = [a for a in answers if a.get("event") == "observed" and a["n"] not in numbers]
    return len(lost) + len([a for a in answers if a.get("event") == "noted" and a["text"] not in notes])


def tagging(process: subprocess.Popen[bytes], run: int, ready: int) -> list[dict[str, Any]]:
    """Tag as fast as it answers until the process dies; what it answered with ok."""
    assert process.stdin is not None
    assert process.stdout is not None
    answers: list[dict[str, Any]] = []
    lines = ["force benchmark BM", *(f"note {run} {i}" if i % 3 else f"force station {i}" for i in range(100_000))]
    try:
        for line in lines:
            process.stdin.write(line.encode() + b"\n")
            process.stdin.flush()
            answer = json.loads(process.stdout.readline())
            if answer["ok"]:
                answers.append(answer)
            if len(answers) == ready and ready:
                break
    except (OSError, ValueError):
        pass  # killed
    return answers


def kills(folder: Path, count: int) -> Tally:
    """`kill -9` at a random moment while tagging; one session goes on through all of them."""
    tally, chance = Tally(), random.Random(1)
    file, port = folder / "killed.walk", f"replay://{source(folder)}"
    answers: list[dict[str, Any]] = []
    for run in range(count):
        process = recorder(file, port)
        first = tagging(process, run, 1)
        killer = threading.Timer(chance.uniform(0.0, 0.25), process.kill)
        killer.start()
        answers += first + tagging(process, run + count, 0)
        killer.join()
        process.communicate()
        tally.runs += 1
        if run % 25 == 24 or run == count - 1:
            try:
                tally.lost = missing(answers, file)
            except RiseError as error:
                tally.corrupt += 1
                print(error, file=sys.stderr)
    tally.answered = len(answers)
    tally.notes["file_bytes"] = file.stat().st_size
    return tally


def power_cuts(folder: Path, cuts: int, tags: int = 40) -> Tally:
    """Power cuts at random moments of a traced recording, from making the session to closing it, and of going on with it."""
    tally, chance = Tally(), random.Random(2)
    file, log, port = folder / "cut.walk", folder / "calls.log", f"replay://{source(folder)}"
    disk = powercut.Disk()
    for run in range(2):
        process = powercut.traced(
            [*RECORD, str(file), "--port", port],
            log,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        tagging(process, run, tags)
        process.communicate(b"end\n")
        happened = powercut.steps(log, file)
        moments = sorted(chance.choices(range(len(happened)), k=cuts // 2))
        answered: list[dict[str, Any]] = []
        for at, step in enumerate(happened):
            disk.take(step)
            if step.kind == "answer":
                answered += [a for a in map(json.loads, step.data.splitlines()) if a["ok"]]
            while moments and moments[0] == at:
                moments.pop(0)
                _cut(disk, file, answered, tally=tally, chance=chance)
        tally.answered += len(answered)
        tally.notes[f"calls_{run + 1}"] = len(happened)
    return tally


def _cut(
    disk: powercut.Disk, file: Path, answered: list[dict[str, Any]], *, tally: Tally, chance: random.Random
) -> None:
    tally.runs += 1
    with tempfile.TemporaryDirectory() as place:
        disk.cut(Path(place), chance)
        found = Path(place) / file.name
        if not answered and (not found.exists() or not found.stat().st_size):
            return
        try:
            tally.lost += missing(answered, found)
            Session.resume(found).close()
            tally.lost += missing(answered, found)
        except RiseError as error:
            tally.corrupt += bool(answered)
            print(f"after {len(answered)} answers: {error}", file=sys.stderr)


def full_disk(folder: Path, pages: int = 60) -> Tally | str:
    """A disk of a few pages more each time, filled up by tagging, emptied again while recording goes on."""
    tally = Tally()
    place = folder / "small"
    place.mkdir()
    port = f"replay://{source(folder)}"
    for page in range(pages):
        size = 8 * 1024 + page * 4096
        if subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", place], capture_output=True, check=False
        ).returncode:
            return "a small file system cannot be mounted here (needs root)"
        try:
            _fill(place / "full.walk", port, tally, page)
        finally:
            subprocess.run(["umount", place], check=True)
    return tally


def _fill(file: Path, port: str, tally: Tally, page: int) -> None:
    process = recorder(file, port)
    assert process.stdin is not None
    assert process.stdout is not None
    answers: list[dict[str, Any]] = []
    refused: list[dict[str, Any]] = []
    for i in range(400):
        process.stdin.write(b"force benchmark BM\n" if not answers else f"note {page} {i} {'x' * 200}\n".encode())
        try:
            process.stdin.flush()
            answer = json.loads(process.stdout.readline())
        except (OSError, ValueError):
            break
        (answers if answer["ok"] else refused).append(answer)
        if len(refused) == 3:
            break
    tally.runs += 1
    tally.answered += len(answers)
    if process.poll() is None and refused:
        tally.lost += missing(answers, file)
        subprocess.run(["mount", "-o", "remount,size=4M", file.parent], check=True)
        process.stdin.write(b"note space again\n")
        process.stdin.flush()
        again = json.loads(process.stdout.readline())
        tally.notes["went_on"] = tally.notes.get("went_on", 0) + bool(again["ok"])
        answers.append(again)
    tally.notes.setdefault("refused_as", {}).setdefault(refused[0]["error"] if refused else "at the start", 0)
    tally.notes["refused_as"][refused[0]["error"] if refused else "at the start"] += 1
    _, said = process.communicate()
    if not refused and process.returncode not in (0, 5):
        tally.corrupt += 1
        print(said.decode(), file=sys.stderr)
    if file.exists() and file.stat().st_size:
        try:
            tally.lost += missing(answers, file)
        except RiseError as error:
            tally.corrupt += 1
            print(error, file=sys.stderr)


def _moved(file: Path) -> None:
    file.rename(file.with_name("elsewhere.walk"))


def _replaced(file: Path) -> None:
    file.with_name("other").write_bytes(b"something else")
    file.with_name("other").replace(file)


def _folder_removed(file: Path) -> None:
    shutil.rmtree(file.parent)


def gone(folder: Path, count: int) -> Tally:
    """The file removed, moved, replaced, its folder removed, at a random moment while tagging at full speed."""
    tally, chance, port = Tally(), random.Random(4), f"replay://{source(folder)}"
    os.environ["XDG_STATE_HOME"] = str(folder / "state")
    for run in range(count):
        file = folder / f"job{run}" / "slope.walk"
        file.parent.mkdir()
        process = recorder(file, port)
        assert process.stdin is not None
        assert process.stdout is not None
        answers = tagging(process, run, 1)
        happens = threading.Timer(
            chance.uniform(0.0, 0.1), (Path.unlink, _moved, _replaced, _folder_removed)[run % 4], [file]
        )
        happens.start()
        answers += tagging(process, run + count, 20)
        happens.join()
        answers += tagging(process, run + 2 * count, 20)
        out, _ = process.communicate(b"end\n")
        ended = json.loads(out.splitlines()[-1])
        tally.runs += 1
        tally.answered += len(answers)
        tally.notes["went_on_elsewhere"] = tally.notes.get("went_on_elsewhere", 0) + ("-rescued" in ended["session"])
        try:
            tally.lost += missing(answers, Path(ended["session"]))
        except RiseError as error:
            tally.corrupt += 1
            print(error, file=sys.stderr)
    return tally


def main() -> None:
    """Run the proofs asked for and print what they found."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--kills", type=int, default=500)
    options.add_argument("--cuts", type=int, default=5000)
    options.add_argument("--pages", type=int, default=60)
    options.add_argument("--gone", type=int, default=100)
    asked = options.parse_args()
    for name, run, size in (
        ("kill -9", kills, asked.kills),
        ("power cut", power_cuts, asked.cuts),
        ("full disk", full_disk, asked.pages),
        ("file gone", gone, asked.gone),
    ):
        if not size:
            continue
        with tempfile.TemporaryDirectory(prefix="risewalk-bench-") as folder:
            start = time.monotonic()
            tally = run(Path(folder), size)
            if isinstance(tally, str):
                print(json.dumps({"proof": name, "skipped": tally}))
                continue
            told = {
                "proof": name,
                "runs": tally.runs,
                "answered": tally.answered,
                "lost": tally.lost,
                "corrupt": tally.corrupt,
            }
            print(json.dumps(told | tally.notes | {"seconds": round(time.monotonic() - start, 1)}), flush=True)


if __name__ == "__main__":
    main()
