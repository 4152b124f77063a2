"""Damaged, mutated and plain senseless input for everything that reads what others wrote: nothing may crash or hang.

    python tests/bench/fuzz.py                              every target, a million inputs over the decoders
    python tests/bench/fuzz.py decoders --inputs 100000     one target, so many inputs
    python tests/bench/fuzz.py --plain                      plain mutation also where atheris is installed

Each target runs in a process of its own: guided by coverage where `atheris` is installed (it is no dependency), by
mutation of valid input and by noise elsewhere. An input is a crash where anything but our own errors comes out, where
an error says nothing, or where a result is not finite; a hang where it takes longer than LIMIT_S. Resident memory is
sampled twenty times, after what is free was given back. Crashes are told once for each place in the code; their inputs are kept in --keep.
"""

import argparse
import contextlib
import ctypes
import faulthandler
import gc
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import FrameType

from fuzzing.decoders import Decoders
from fuzzing.files import BriefToml, CatalogueFile, GroundCsv, InstrumentToml, LevelsCsv, ProfileCsv, RuleToml
from fuzzing.mutation import LARGEST, TOKENS, mutated
from fuzzing.sessions import DamagedSession, JsonLines, SaidLines
from fuzzing.target import ROOT, OfFile, Target, Wrong, ours, spoken

HERE = Path(__file__).parent
INPUTS = {"decoders": 1_000_000, "session": 10_000, "jsonl": 4_000}
FEWER = 40_000
"""Inputs of a target that INPUTS does not name."""
LIMIT_S = 2.0
"""Of the processor's time, so that a busy machine is no fault of the reader."""
STUCK_S = 120
"""When the whole process is ended with its stack told: a hang inside C, where no signal gets through, or a wait."""
GROWTH_MB = 24.0
"""Resident memory may grow by no more between a fifth of the way and the end."""
SAMPLES = 20


class Hung(BaseException):
    """An input took longer than it may."""


TARGETS: dict[str, type[Target]] = {
    "decoders": Decoders,
    "session": DamagedSession,
    "jsonl": JsonLines,
    "commands": SaidLines,
    "instrument-toml": InstrumentToml,
    "brief-toml": BriefToml,
    "rules-toml": RuleToml,
    "catalogue": CatalogueFile,
    "profile-csv": ProfileCsv,
    "levels-csv": LevelsCsv,
    "ground-csv": GroundCsv,
}
GUIDED = [
    *(f"drivers.decoders.{name}" for name in ("frames", "gatt", "lines", "modbus", "nmea0183", "scpi")),
    *("drivers.instrument", "logger.catalogue", "logger.profile_file", "logger.reduction.adjustment"),
    *("logger.reduction.levels", "logger.session.verify", "logger.session.jsonl", "logger.session.played"),
    *("logger.recorder.commands", "logger.steps.brief", "drivers.simulator.ground"),
]
"""Modules whose coverage guides, with what they import."""


class Run:
    """One target being fed: counts, crashes by place, memory on the way."""

    def __init__(self, name: str, inputs: int, keep: Path) -> None:
        self.name, self.inputs, self.keep = name, inputs, keep
        self.target = TARGETS[name]()
        self.count = self.refused = 0
        self.crashes: Counter[str] = Counter()
        self.memory_mb: list[float] = []
        self.slowest_s = 0.0
        self.made: list[Path] = [self.target.folder] if isinstance(self.target, OfFile) else []
        self.start = time.monotonic()
        signal.signal(signal.SIGPROF, self._late)

    def feed(self, data: bytes) -> None:
        """Take one input; after the last the tale is told and the process ends."""
        if self.count % max(self.inputs // SAMPLES, 1) == 0:
            self.memory_mb.append(resident_mb())
        if self.count % 50 == 0:
            faulthandler.dump_traceback_later(STUCK_S, exit=True)
        self.count += 1
        began = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, LIMIT_S)
        try:
            self.target.take(data)
        except ours() as error:
            self.refused += 1
            try:
                spoken(error)
            except Wrong as wrong:
                self._crash(wrong, data)
        except (Exception, Hung) as error:
            self._crash(error, data)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        self.slowest_s = max(self.slowest_s, time.process_time() - began)
        if self.count >= self.inputs:
            self.tell()

    def tell(self) -> None:
        """Print what came of it and end."""
        self.memory_mb.append(resident_mb())
        took = time.monotonic() - self.start
        growth = self.memory_mb[-1] - self.memory_mb[min(SAMPLES // 5, len(self.memory_mb) - 1)]
        told = {
            "target": self.name,
            "guided": "atheris" in sys.modules,
            "inputs": self.count,
            "refused_in_words": self.refused,
            "inputs_per_s": round(self.count / took),
            "slowest_ms": round(self.slowest_s * 1e3, 1),
            "memory_mb": [round(m, 1) for m in self.memory_mb],
            "growth_mb_after_a_fifth": round(growth, 1),
            "crashes": dict(self.crashes),
        }
        print(json.dumps(told), flush=True)
        for folder in self.made:
            shutil.rmtree(folder, ignore_errors=True)
        os._exit(1 if self.crashes or growth > GROWTH_MB else 0)

    def _late(self, number: int, frame: FrameType | None) -> None:
        raise Hung(f"longer than {LIMIT_S:g} s")

    def _crash(self, error: BaseException, data: bytes) -> None:
        frames = [
            f
            for f in traceback.extract_tb(error.__traceback__)
            if str(ROOT) in f.filename and ".venv" not in f.filename
        ]
        last = next((f for f in reversed(frames) if str(HERE) not in f.filename), frames[-1])
        place = f"{type(error).__name__} at {Path(last.filename).relative_to(ROOT)}:{last.lineno}"
        self.crashes[place] += 1
        if self.crashes[place] == 1:
            file = self.keep / f"{self.name}-{len(self.crashes)}"
            file.write_bytes(data)
            print(f"{place}: {str(error)[:200]} (input in {file})", file=sys.stderr, flush=True)


def resident_mb() -> float:
    """Resident memory of this process now, what its allocator holds without use not counted."""
    gc.collect()
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 2**20


def plain(name: str, inputs: int, keep: Path) -> None:
    """Mutation without a guide."""
    run = Run(name, inputs, keep)
    seeds, chance = run.target.seeds(), random.Random(7)
    for seed in seeds:
        run.feed(seed)
    while True:
        run.feed(mutated(seeds, chance))


def guided(name: str, inputs: int, keep: Path) -> None:
    """Mutation guided by the coverage of our own code."""
    import atheris

    with atheris.instrument_imports(include=["drivers", "logger", "tui"]):
        for module in GUIDED:
            import_module(module)
    run = Run(name, inputs, keep)
    folder, seeds, chance = Path(tempfile.mkdtemp(prefix="risewalk-corpus-")), run.target.seeds(), random.Random(7)
    run.made.append(folder)
    (folder / "seeds").mkdir()
    for i, seed in enumerate(seeds):
        (folder / "seeds" / str(i)).write_bytes(seed)
    quoted = ("".join(f"\\x{byte:02x}" for byte in token) for token in TOKENS if 0 < len(token) < 64)
    (folder / "words").write_text("".join(f'"{token}"\n' for token in quoted))

    def mutate(data: bytes, largest: int, seed: int) -> bytes:
        # half by libFuzzer's own hand, half as without a guide: its bytes rarely make a whole word of a file
        if seed % 2:
            return bytes(atheris.Mutate(data, largest))
        return mutated([data, chance.choice(seeds)] if data else seeds, chance)[:largest]

    asked = [sys.argv[0], str(folder / "seeds"), f"-dict={folder / 'words'}", f"-max_len={LARGEST}"]
    asked += ["-timeout=3600", f"-artifact_prefix={keep}/"]  # its own limit counts the time of a busy machine
    atheris.Setup([*asked, "-verbosity=0", "-seed=7"], run.feed, custom_mutator=mutate)
    atheris.Fuzz()


def main() -> None:
    """Run the targets one after the other; exit 1 where one of them found something."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("target", nargs="*", choices=[*TARGETS, []], help="all where none is named")
    options.add_argument("--inputs", type=int)
    options.add_argument("--plain", action="store_true")
    options.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "risewalk-crashes")
    options.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    asked = options.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    if asked.here:
        (plain if asked.plain else guided)(asked.target[0], asked.inputs, asked.keep)
    bad = False
    for name in asked.target or TARGETS:
        inputs = str(asked.inputs or INPUTS.get(name, FEWER))
        command = [sys.executable, __file__, name, "--here", "--inputs", inputs, "--keep", str(asked.keep)]
        command += ["--plain"] if asked.plain or find_spec("atheris") is None else []
        bad |= subprocess.run(command, check=False).returncode != 0
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
