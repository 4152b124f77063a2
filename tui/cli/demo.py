"""`risewalk demo`: the whole job on a virtual instrument, by the very commands a user would type."""

import json
import shlex
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from importlib.resources import files
from pathlib import Path
from typing import IO, Any

import click

from logger.errors import CannotWrite, RiseError
from logger.observation import COVERAGE

SESSION = "alder-bank.walk"
AFTER_THE_WALK = (
    ("profile.csv", "profile {walk} --csv", "the ground, with uncertainties"),
    ("profile.txt", "profile {walk}", "the same for people, with the closure"),
    ("layout.json", "steps {walk} --brief {brief} --json", "every layout, best first"),
    ("layout.txt", "steps {walk} --brief {brief}", "the same for people, with the reasons"),
    ("marks.json", "setout {walk} --brief {brief} --json", "what to mark and where"),
    ("marks.txt", "setout {walk} --brief {brief}", "the same for people"),
    ("marks.html", "sheet {walk} --brief {brief}", "the marking sheet, to print"),
    ("quantities.txt", "takeoff {walk} --brief {brief} --catalogue {catalogue}", "digging, quantities, quote"),
    ("quote.html", "sheet {walk} --brief {brief} --catalogue {catalogue} --kind quote", "the quote for the client"),
    ("verify.json", "verify {walk} --json", "the session checked against its raw bytes"),
)
WRITTEN = ("ground.csv", "instrument.toml", "brief.toml", "catalogue.toml")
ANOTHER = "risewalk demo DIR"
AT_ONCE = 2
"""Commands after the walk that run side by side."""


class Child:
    """One `risewalk` command running beside us, spoken to line by line."""

    def __init__(self, *words: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tui.cli", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.stdin: IO[str] = self.process.stdin
        self.stdout: IO[str] = self.process.stdout

    def answer(self) -> dict[str, Any]:
        """The next line the command prints."""
        line = self.stdout.readline()
        if not line:
            raise RiseError(f"a part of the demo stopped early (exit {self.process.wait(10)}); see the lines above")
        parsed: dict[str, Any] = json.loads(line)
        return parsed

    def ask(self, line: str) -> dict[str, Any]:
        """Say one line and return the answer; RiseError if it is a refusal."""
        self.stdin.write(line + "\n")
        answer = self.answer()
        if not answer.get("ok"):
            raise RiseError(f"{line!r} was refused: {answer.get('message')}")
        return answer


@contextmanager
def child(*words: str) -> Iterator[Child]:
    """A command that is ended by closing its input, and by force only if it does not listen."""
    running = Child(*words)
    try:
        yield running
    finally:
        with suppress(BrokenPipeError):
            running.stdin.close()
        try:
            running.process.wait(5)
        except subprocess.TimeoutExpired:
            running.process.kill()
            running.process.wait()
        running.stdout.close()


def site(name: str) -> str:
    """The text of one file of the invented site."""
    return files("tui.demo").joinpath(name).read_text(encoding="utf-8")


def spare_what_is_not_ours(folder: Path) -> None:
    """CannotWrite where a file that the demo would write over is somebody's own: changed, or of no demo before."""
    changed = [name for name in WRITTEN if _differs(folder / name, site(name))]
    walked = (folder / SESSION).exists()
    theirs = changed + [name for name, *_ in AFTER_THE_WALK if not walked and (folder / name).exists()]
    if theirs:
        raise CannotWrite(folder, f"{', '.join(theirs)} there would be written over; name another folder: {ANOTHER}")


def _differs(file: Path, text: str) -> bool:
    return file.exists() and file.read_bytes() != text.encode()


def walk_the_slope(folder: Path) -> None:
    """Play the walk: the virtual level on a pseudo-terminal, the recorder on the other end of it."""
    ground, instrument = folder / "ground.csv", folder / "instrument.toml"
    with child("simulate", "--ground", str(ground), "--speak", "lines", "--rate", "100", "--seed", "7") as level:
        port = str(level.answer()["port"])
        record = ["record", str(folder / SESSION), "--port", port, "--instrument", str(instrument)]
        record += ["--units", "ft-in", "--job", "Alder Bank, lane to orchard gate (invented)"]
        tell("risewalk " + shlex.join(record))
        with child(*record) as recorder:
            for line in site("walk.txt").splitlines():
                if line and not line.startswith("#"):
                    probe, tag = (part.strip() for part in line.split(">"))
                    level.ask(probe)
                    tell(tagged(tag, recorder.ask(tag)))
        level.ask("quit")


def tagged(tag: str, answer: dict[str, Any]) -> str:
    """One line for people about one tag."""
    if answer.get("event") != "observed":
        return f"  {tag}"
    return f"  {tag:<42} {answer['above_zero_m']:+8.4f} m  ± {COVERAGE * answer['above_zero_u_m'] * 1000:.1f} mm"


def tell(line: str) -> None:
    """Talk, on stderr."""
    click.echo(line, err=True)


def keep(folder: Path, name: str, words: str, what: str) -> str:
    """Run one command and keep what it prints in a file of the demo's folder; a line that says so."""
    places = {file.split(".")[0]: shlex.quote(str(folder / file)) for file in WRITTEN}
    line = words.format(walk=shlex.quote(str(folder / SESSION)), **places)
    tell(f"risewalk {line} > {folder / name}")
    with (folder / name).open("w", encoding="utf-8") as out:
        done = subprocess.run([sys.executable, "-m", "tui.cli", *shlex.split(line)], stdout=out, check=False)
    if done.returncode != 0:
        raise RiseError(f"risewalk {line} ended with {done.returncode}; see the lines above")
    return f"{folder / name}: {what}"


@click.command()
@click.argument("folder", metavar="[DIR]", default="risewalk-demo", type=click.Path(file_okay=False, path_type=Path))
def command(folder: Path) -> None:
    """Do the whole job on an invented site: simulate, walk, profile, steps, marks, sheets.

        risewalk demo

    A virtual level sends bytes through a real serial port pair; everything after that is what a real
    instrument gets. Every artefact is left in DIR (default: risewalk-demo).
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        spare_what_is_not_ours(folder)
        (folder / SESSION).unlink(missing_ok=True)
        for name in WRITTEN:
            (folder / name).write_text(site(name), encoding="utf-8")
    except OSError as error:
        raise CannotWrite(folder, f"{error.strerror}; name another folder: {ANOTHER}") from error
    walk_the_slope(folder)
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for line in pool.map(lambda artefact: keep(folder, *artefact), AFTER_THE_WALK):
            click.echo(line)
