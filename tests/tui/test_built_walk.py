"""From a walk to finished steps on the virtual level: marks, live guidance to them, and the as-built check."""

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tui.cli.demo import Child, child

LINE = [(0.0, 0.0), (1.2, 0.55), (2.0, 0.6)]
BRIEF = """
[steps]
run = "1.2 m"
width = "1 m"
riser = "18 cm"
tread = "0.4 m"
landing = "1 m"
fall = "1 %"
grid = "1 cm"
[layers]
unit = "15 cm"
base = "10 cm"
"""
LEVEL = r"""
[instrument]
name = "Level that settles at once"
[decoder]
kind = "lines"
pattern = '^\s*(?P<height>[+-]?\d+\.\d+)\s*(?P<unit>in|ft|mm|cm|m)?\s*$'
[height]
unit = "in"
resolution = "0.01 in"
accuracy = "1 mm"
[settle]
window = "0.2 s"
spread = "2 mm"
"""
BM_M = 0.2
Site = tuple[Path, Path, Path]


def instrument(folder: Path) -> str:
    """The file of a level that does not keep a test waiting."""
    file = folder / "level.toml"
    file.write_text(LEVEL)
    return str(file)


def risewalk(*words: object, code: int = 0) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "tui.cli", *map(str, words)], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == code, done.stderr
    return done.stdout


def walked(level: Child, port: str, session: Path, places: list[tuple[str, str]]) -> None:
    """Tag each place of the virtual site."""
    with child("record", str(session), "--port", port, "--instrument", instrument(session.parent)) as recorder:
        for probe, tag in places:
            level.ask(probe)
            recorder.ask(tag)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """The ground, the brief, and a walk over the ground."""
    folder = tmp_path_factory.mktemp("site")
    ground, brief, session = folder / "ground.csv", folder / "brief.toml", folder / "bank.walk"
    ground.write_text("station_m,elevation_m\n" + "".join(f"{x},{z}\n" for x, z in LINE))
    brief.write_text(BRIEF)
    with child("simulate", "--ground", str(ground), "--speak", "lines", "--rate", "100", "--seed", "5") as level:
        zero = (f"point BM {BM_M}", "benchmark BM")
        stations = [(f"at {x}", f"station {x} m") for x in (0.0, 0.6, 1.2, 1.6)]
        walked(level, level.answer()["port"], session, [zero, *stations, zero])
    return ground, brief, session


@pytest.fixture(scope="module")
def marks(site: Site) -> list[dict[str, Any]]:
    _, brief, session = site
    document = json.loads(risewalk("setout", session, "--brief", brief, "--json"))
    assert document["session_digest"]
    return list(document["marks"])


def test_finished_steps_are_checked_riser_by_riser(site: Site, marks: list[dict[str, Any]], tmp_path: Path) -> None:
    ground, brief, session = site
    steps = tmp_path / "steps.walk"
    check = ("asbuilt", session, "--brief", brief, "--built", steps)

    def place(riser: int, end: str) -> tuple[str, str]:
        height = BM_M + marks[riser - 1][end]["finished_m"]
        return f"point step {height}", f"built {riser} {end}"

    with child("simulate", "--ground", str(ground), "--speak", "lines", "--rate", "100", "--seed", "6") as level:
        port, zero = level.answer()["port"], (f"point BM {BM_M}", "benchmark BM")
        foot = marks[0]["front"]["finished_m"] - marks[0]["face_m"]
        all_but_one = [
            place(m["riser"], end) for m in marks for end in ("front", "back") if (m["riser"], end) != (2, "front")
        ]
        walked(level, port, steps, [zero, (f"point foot {BM_M + foot}", "point foot"), *all_but_one, zero])
        left_out = json.loads(risewalk(*check, "--json"))
        assert left_out["status"] == "unsure"
        assert [r["built_face_m"] is None for r in left_out["risers"]] == [False, True, False]

        walked(level, port, steps, [zero, place(2, "front"), zero])
        whole = json.loads(risewalk(*check, "--json"))
        assert whole["status"] == "pass"
        for riser, mark in zip(whole["risers"], marks, strict=True):
            assert riser["built_face_m"] == pytest.approx(mark["face_m"], abs=4 * riser["u_m"] + 1e-4)
            assert riser["status"] == "pass"
        assert whole["uniformity_m"] < 0.003

        walked(level, port, steps, [(f"point BM {BM_M}", "benchmark BM"), ("point BM 1", "face 2 25 cm")])
        taped = json.loads(risewalk(*check, "--json", code=1))
        assert taped["status"] == "fail"
        assert any(f["rule"] == "agreement" for f in taped["findings"])
    assert "As-built report" in risewalk(*check, code=1)
    report = risewalk("sheet", session, "--brief", brief, "--kind", "asbuilt", "--built", steps)
    assert "outside" in report
    assert taped["session_digest"] in report
    book = risewalk("sheet", steps, "--kind", "fieldbook")
    assert "face 2 by tape" in book
    assert book.count("benchmark BM") == 5


def test_a_walk_without_built_risers_is_a_sentence(site: Site) -> None:
    _, brief, session = site
    done = subprocess.run(
        [sys.executable, "-m", "tui.cli", "asbuilt", str(session), "--brief", str(brief)],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 4
    assert "no riser was observed as built" in done.stderr


Until = Callable[..., dict[str, Any]]


@contextmanager
def guidance(site: Site, command: str, *more: object) -> Iterator[tuple[Child, Until]]:
    """The virtual level, and a guidance that runs on it: `until(event, key=value)` reads on to an event."""
    ground, brief, session = site
    with child("simulate", "--ground", str(ground), "--speak", "lines", "--rate", "100", "--seed", "7") as level:
        port = level.answer()["port"]
        level.ask(f"point BM {BM_M}")
        live = ("--port", port, "--instrument", instrument(session.parent), "--json", *map(str, more))
        with child(command, str(session), "--brief", str(brief), *live) as guided:

            def until(line: str | None = None, **wanted: object) -> dict[str, Any]:
                if line is not None:
                    guided.stdin.write(line + "\n")
                for _ in range(400):
                    event = guided.answer()
                    if all(event.get(key) == value for key, value in wanted.items()):
                        return event
                raise AssertionError(f"never heard {wanted}")

            yield level, until


@pytest.fixture
def guided(site: Site) -> Iterator[tuple[Child, Until]]:
    """Guidance of the set-out."""
    with guidance(site, "setout") as running:
        yield running


def test_guided_to_a_base_top_and_to_a_crossing(
    guided: tuple[Child, Until], site: Site, marks: list[dict[str, Any]]
) -> None:
    level, until = guided
    until(event="mark")
    assert until("zero BM", event="taken")["answer"]["ok"]
    base = BM_M + marks[0]["front"]["base_top_m"]
    level.ask(f"point base {base - 0.03}")
    assert until(say="raise")["riser"] == 1
    level.ask(f"point base {base + 0.03}")
    until(say="lower")
    level.ask(f"point base {base}")
    assert until(say="on grade")["bell"] == 2
    taken = until("", event="taken")["answer"]
    assert (taken["kind"], taken["riser"], taken["place"]) == ("base", 1, "front")
    assert until(event="mark")["words"].startswith("riser 1, back")
    until("height crossing", event="mark")
    until("riser 2", event="mark")
    level.ask("at 0.1")
    until(say="up the slope")
    level.ask(f"at {marks[1]['ground_crossings_m'][0]}")
    until(say="on line")


def test_a_pulled_cable_is_told_and_nothing_counts_before_the_zero_is_observed_again(
    guided: tuple[Child, Until], marks: list[dict[str, Any]]
) -> None:
    level, until = guided
    assert until("zero BM", event="taken")["answer"]["ok"]
    until(event="guidance")
    level.ask("unplug")
    down = until(event="link")
    assert "no line to the instrument" in down["words"]
    assert down["bell"] == 3
    assert until("", event="taken")["answer"]["error"] == "link_lost"
    level.ask("replug")
    assert until(event="link")["words"] == "the line is back"
    assert until(event="guidance")["say"] == "check the zero"
    assert until("", event="taken")["answer"]["error"] == "needs_zero"
    level.ask(f"point BM {BM_M}")
    assert until("zero BM", event="taken")["answer"]["ok"]
    level.ask(f"point base {BM_M + marks[0]['front']['base_top_m'] + 0.02}")
    until(say="lower")
    taken = until("", event="taken")
    assert taken["answer"]["riser"] == 1
    assert "too high" in taken["words"]


def test_what_is_dug_is_kept_and_its_ground_crossings_are_gone(
    site: Site, marks: list[dict[str, Any]], tmp_path: Path
) -> None:
    ground, brief, walk = site
    session = tmp_path / "dug.walk"
    shutil.copy(walk, session)
    with guidance((ground, brief, session), "setout", "--height", "subgrade") as (level, until):
        assert until("zero BM", event="taken")["answer"]["ok"]
        for mark in marks:
            for end in ("front", "back"):
                level.ask(f"point dug {BM_M + mark[end]['subgrade_m']}")
                answer = until("", event="taken")["answer"]
                assert (answer["kind"], answer["surface"]) == ("station", "dug")
        level.ask(f"point dug {BM_M + marks[0]['front']['subgrade_m'] - 0.05}")
        until("riser 1 front", event="mark")
        assert re.search(r"5\d mm off, is struck out|0\.05\d m off, is struck out", until("", event="struck")["words"])
    after = json.loads(risewalk("setout", session, "--brief", brief, "--json"))
    assert [m["ground_crossings_m"] for m in after["marks"]] == [[]] * len(marks)
    for dug, walked in zip(after["marks"], marks, strict=True):
        assert dug["front"]["ground_m"] == pytest.approx(walked["front"]["ground_m"], abs=0.001), "the ground stays"
    assert any("no ground crossings there" in note for note in after["notes"])


def test_finished_steps_are_observed_in_turn_and_judged_at_the_end(
    site: Site, marks: list[dict[str, Any]], tmp_path: Path
) -> None:
    steps = tmp_path / "finished.walk"
    with guidance(site, "asbuilt", "--built", steps) as (level, until):
        assert until("zero BM", event="taken")["answer"]["ok"]
        level.ask(f"point step {BM_M + marks[0]['front']['finished_m'] - marks[0]['face_m']}")
        assert until("foot", event="taken")["answer"]["riser"] == 0
        for mark in marks:
            for end in ("front", "back"):
                level.ask(f"point step {BM_M + mark[end]['finished_m']}")
                taken = until("", event="taken")["answer"]
                assert (taken["riser"], taken["place"]) == (mark["riser"], end)
        judged = until("quit", schema="risewalk.asbuilt/1")
    assert judged["status"] == "pass"
    assert not [f for f in judged["findings"] if f["rule"] == "foot"]
    assert all(depth["status"] == "not checked" for depth in judged["depths"])
