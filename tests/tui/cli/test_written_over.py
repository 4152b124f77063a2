"""What is already in a folder: no result of a command is written over a walk or over what a person wrote."""

from pathlib import Path
from typing import Any

import pytest

from tui.cli.demo import site

WORDS = "benchmark BM\nstation 0\nstation 3\n"


@pytest.fixture
def walked(run: Any, level: Any, instrument: Path, tmp_path: Path) -> Path:
    """A walk in feet and inches."""
    feet = ("--units", "ft-in", "--port", level.port, "--instrument", instrument)
    done = run("record", "a.walk", *feet, stdin=WORDS)
    assert done.returncode == 0, done.stderr
    return tmp_path / "a.walk"


def test_no_export_is_written_over_a_walk(run: Any, walked: Path, tmp_path: Path) -> None:
    (tmp_path / "ground.csv").write_text(site("ground.csv"))
    before = walked.read_bytes()
    for words in ("a.walk --to csv", "a.walk --to jsonl", "ground.csv --to json", "ground.csv --to landxml"):
        done = run("export", *words.split(), "a.walk")
        assert done.returncode in (2, 5), words
        assert "name another file" in done.stderr
    assert walked.read_bytes() == before


def test_no_export_is_written_over_what_it_reads(run: Any, tmp_path: Path) -> None:
    names = ("ground.csv", "brief.toml")
    for name in names:
        (tmp_path / name).write_text(site(name))
    for name in names:
        done = run("export", "ground.csv", "--to", "csv", "--brief", "brief.toml", f"./{name}")
        assert done.returncode == 2
        assert "name another file" in done.stderr
        assert (tmp_path / name).read_text() == site(name)


def test_a_proposal_is_not_kept_over_another_instrument_file(run: Any, level: Any, instrument: Path) -> None:
    before = instrument.read_text()
    done = run("listen", level.port, "--seconds", "1.5", "--save", instrument.name)
    assert done.returncode == 5
    assert "under another name" in done.stderr
    assert instrument.read_text() == before


@pytest.mark.parametrize("name", ["brief.toml", "profile.csv"])
def test_the_demo_spares_a_job_of_ones_own(run: Any, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    done = run("demo", ".")
    assert done.returncode == 5
    assert name in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_the_field_book_is_in_the_units_of_the_walk_or_as_told(run: Any, walked: Path) -> None:
    book = ("sheet", walked, "--kind", "fieldbook")
    assert "station 3&#x27;-0&quot;" in run(*book).stdout
    assert "station 0.914 m" in run(*book, "--units", "m").stdout
    wrong = run(*book, "--units", "feet")
    assert wrong.returncode == 2
    assert wrong.stderr.endswith("Error: --units: 'feet' is none of ft-in, ft, m, mm\n")
