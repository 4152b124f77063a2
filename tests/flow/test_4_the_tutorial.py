"""The stranger's first hour: the README's tutorial, followed to the letter in two shells."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tui.cli.demo import WRITTEN, site

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
TUTORIAL = README.partition("## An hour with the virtual level\n")[2].partition("\n## ")[0]
PART = re.compile(r"```sh\n(?P<block>.*?)```|^\| (?P<probe>`.*?`|) ?\| (?P<book>`.*?`) \|$", re.DOTALL | re.MULTILINE)
STAYS = re.compile(r"^risewalk (simulate|record)", re.MULTILINE)
DONE = "that block is done: "


@dataclass(frozen=True, slots=True)
class Ran:
    """A block that came to its end: what it printed, and the exit code of its last command."""

    block: str
    printed: str
    code: int


class Terminal:
    """A shell that reads what is typed line by line, as do the programs it starts."""

    def __init__(self, folder: Path, environment: dict[str, str], closing: ExitStack) -> None:
        self.shell = subprocess.Popen(
            ["bash"],
            cwd=folder,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            bufsize=1,
        )
        assert self.shell.stdin is not None
        assert self.shell.stdout is not None
        self.keys, self.page = self.shell.stdin, self.shell.stdout
        closing.callback(self.close)

    def run(self, block: str) -> Ran:
        """Type a block and wait for its end."""
        self.start(block)
        return self.ends(block)

    def ends(self, block: str) -> Ran:
        """Wait for the prompt, as a person would."""
        printed: list[str] = []
        for line in self.page:
            if line.startswith(DONE):
                return Ran(block, "".join(printed), int(line.removeprefix(DONE)))
            printed.append(line)
        raise AssertionError(f"the shell ended during\n{block}\n{''.join(printed)}")

    def start(self, block: str) -> None:
        """Type a block; a program that stays reads what is typed next, so the end is typed ahead on the same line."""
        self.keys.write(f'{block.rstrip()}; echo "{DONE}$?"\n')

    def says(self) -> dict[str, Any]:
        """The next line of JSON; talk between is skipped."""
        for line in self.page:
            if line.startswith("{"):
                answer: dict[str, Any] = json.loads(line)
                return answer
        raise AssertionError("the shell ended")

    def types(self, line: str) -> dict[str, Any]:
        """Type one line to the program that stays; its answer, which must not be a refusal."""
        self.keys.write(line + "\n")
        answer = self.says()
        assert answer["ok"], (line, answer)
        return answer

    def close(self) -> None:
        """Leave the shell."""
        self.keys.close()
        self.page.read()
        self.page.close()
        assert self.shell.wait(10) == 0


@contextmanager
def terminals(folder: Path) -> Iterator[tuple[Terminal, Terminal]]:
    """Two shells in a folder that holds what the demo left, of a person with an empty home."""
    (folder / "home").mkdir()
    (folder / ".venv" / "bin").mkdir(parents=True)
    (folder / ".venv" / "bin" / "activate").write_text(f"PATH={Path(sys.executable).parent}:$PATH\n")
    (folder / "risewalk-demo").mkdir()
    for name in WRITTEN:
        (folder / "risewalk-demo" / name).write_text(site(name), encoding="utf-8")
    environment = {"PATH": os.environ["PATH"], "HOME": str(folder / "home"), "LANG": "C.UTF-8"}
    with ExitStack() as closing:
        yield Terminal(folder, environment, closing), Terminal(folder, environment, closing)


@dataclass(frozen=True, slots=True)
class Hour:
    """What came of the tutorial: its blocks, the answers of the recorder, and the folder."""

    ran: list[Ran]
    answers: list[dict[str, Any]]
    folder: Path

    def of(self, words: str) -> Ran:
        """The block that holds these words."""
        return next(ran for ran in self.ran if words in ran.block)


@pytest.fixture(scope="module")
def hour(tmp_path_factory: pytest.TempPathFactory) -> Hour:
    """The tutorial, played once: each block and each row of its tables in order."""
    if shutil.which("bash") is None:
        pytest.skip("the tutorial is for a POSIX shell; there is no bash here")
    folder = tmp_path_factory.mktemp("hour")
    ran: list[Ran] = []
    answers: list[dict[str, Any]] = []
    with terminals(folder) as (probe, book):
        for part in PART.finditer(TUTORIAL):
            play(part, probe, book, ran, answers)
    return Hour(ran, answers, folder / "risewalk-demo")


def play(part: re.Match[str], probe: Terminal, book: Terminal, ran: list[Ran], answers: list[dict[str, Any]]) -> None:
    """One block or one row."""
    block = part["block"]
    if block is None:
        if part["probe"]:
            probe.types(part["probe"].strip("`"))
        line = part["book"].strip("`")
        answers.append(book.types(line))
        if line == "end":
            ran.append(book.ends(line))
    elif not STAYS.search(block):
        ran.append(book.run(block))
        if ".venv" in block:
            ran.append(probe.run(block))
    elif "simulate" in block:
        probe.start(block)
        assert probe.says()["port"].endswith("/level")
    else:
        book.start(block)


def test_nothing_of_the_tutorial_is_left_out() -> None:
    fences = TUTORIAL.count("```") // 2
    parts = list(PART.finditer(TUTORIAL))
    assert [bool(p["block"]) for p in parts].count(True) == fences >= 10
    rows = [line for line in TUTORIAL.splitlines() if line.startswith("|") and "`" in line]
    assert [p["book"] is not None for p in parts].count(True) == len(rows) >= 20


def test_every_block_does_what_the_text_says(hour: Hour) -> None:
    for ran in hour.ran:
        assert ran.code == 0, f"{ran.block}\n{ran.printed}"
        assert "Traceback" not in ran.printed
    assert "identified (confidence 0." in hour.of("listen").printed
    assert "Closure: closes" in hour.of("profile").printed
    assert '"profile_identical": true' in hour.of("verify").printed
    assert "14 risers" in hour.of("steps").printed
    assert "10 risers cannot be" in hour.of("explain").printed
    assert "Riser lines and base tops" in hour.of("setout").printed
    assert re.search(r"^total .* \$[0-9,]+\.[0-9]{2}$", hour.of("takeoff").printed, re.MULTILINE)


def test_the_walk_has_two_setups_and_a_zero_check(hour: Hour) -> None:
    observed = [a for a in hour.answers if a.get("event") == "observed"]
    assert {a["setup"] for a in observed} == {1, 2}
    checks = [a["misclosure_m"] for a in observed if a["kind"] == "benchmark" and "misclosure_m" in a]
    assert len(checks) == 2
    assert max(map(abs, checks)) < 0.005


def test_the_high_step_is_found(hour: Hour) -> None:
    verdicts = re.findall(r"^ +([123]) .* (within|outside)$", hour.of("asbuilt").printed, re.MULTILINE)
    assert verdicts == [("1", "within"), ("2", "within"), ("3", "outside")]
    assert "lower step 3" in hour.of("asbuilt").printed


def test_the_sheets_are_there(hour: Hour) -> None:
    for kind in ("marks", "cut", "quote", "asbuilt", "fieldbook"):
        assert (hour.folder / f"{kind}.html").read_text(encoding="utf-8").startswith("<!")
