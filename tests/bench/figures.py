"""All figures by one command: every benchmark as it is, one after the other, as one table with date and machine.

    python tests/bench/figures.py            the figures as they stand in DEVELOPERS.md (some minutes)
    python tests/bench/figures.py --quick    the same benchmarks, the long ones shorter
    python tests/bench/figures.py commit     one of them

Each benchmark takes its own paired runs and medians; a line of it is a row here. One that fails is said to have failed,
and the exit code is 1. Let the machine rest meanwhile: the load before the first and after the last is printed.
"""

import argparse
import importlib.metadata
import os
import platform
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

HERE = Path(__file__).parent
LIBRARIES = ("click", "numpy", "pyserial", "scipy", "textual")


@dataclass(frozen=True, slots=True)
class Bench:
    """One script beside this one, and what it is told."""

    what: str
    script: str
    words: tuple[str, ...] = ()
    quick: tuple[str, ...] = ()
    """What it is told under --quick instead."""


BENCHES = (
    Bench("start-up, beside bare Python", "startup"),
    Bench("bytes to readings, beside a bare read", "ingest", ("--long",)),
    Bench("a durable tag, beside write and fsync", "commit"),
    Bench("layouts, beside a general solver", "layout", ("5", "--mixed-integer"), ("3",)),
    Bench("the adjustment, and its growth", "adjustment"),
    Bench("the screen, beside one that shows the number alone", "screen", (), ("--rounds", "2")),
    Bench("memory and disk over simulated days", "soak", (), ("--hours", "0.25")),
    Bench("what the 95 % intervals hold", "truth", ("--walks", "10000"), ("--walks", "100")),
)


def machine() -> str:
    """What this is run on, as far as figures depend on it."""
    cpu = platform.processor() or platform.machine()
    listed = Path("/proc/cpuinfo")
    if listed.exists():
        models = [line.partition(":")[2].strip() for line in listed.read_text().splitlines() if "model name" in line]
        cpu = models[0] if models else cpu
    libraries = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in LIBRARIES)
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return f"{cores} cores of {cpu}, {platform.system()} {platform.release()}, Python {platform.python_version()}, {libraries}"


def load() -> str:
    """How busy the machine is: the mean of the last minute."""
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "not known"


def rows(bench: Bench, quick: bool) -> tuple[list[str], bool]:
    """The lines of one benchmark as rows of the table, and whether it came to its end."""
    words = bench.quick if quick else bench.words
    start = time.monotonic()
    done = subprocess.run(
        [sys.executable, HERE / f"{bench.script}.py", *words], capture_output=True, text=True, cwd=HERE.parents[1]
    )
    lines = [line.rstrip() for line in done.stdout.splitlines() if line.strip()]
    if done.returncode != 0:
        lines.append(f"FAILED with {done.returncode}: {(done.stderr.strip().splitlines() or ['no word'])[-1]}")
    call = " ".join([f"tests/bench/{bench.script}.py", *words])
    took = f"{time.monotonic() - start:.0f} s"
    table = [f"| **{bench.what}** | `{call}`, {took} |", *(f"| | {line.replace('|', '/')} |" for line in lines)]
    return table, done.returncode == 0


def main() -> None:
    """Run what is asked for and print the table as it grows."""
    names = [bench.script for bench in BENCHES]
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("names", nargs="*", help=f"some of {', '.join(names)}; all where none is named")
    options.add_argument("--quick", action="store_true")
    asked = options.parse_args()
    if unknown := set(asked.names) - set(names):
        options.error(f"no benchmark {', '.join(sorted(unknown))}; there are {', '.join(names)}")
    print(f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, {machine()}; load before {load()}\n", flush=True)
    print("| figure | measured |\n|---|---|", flush=True)
    whole = True
    for bench in BENCHES:
        if not asked.names or bench.script in asked.names:
            table, ended = rows(bench, asked.quick)
            print("\n".join(table), flush=True)
            whole &= ended
    print(f"\nload after {load()}")
    sys.exit(0 if whole else 1)


if __name__ == "__main__":
    main()
