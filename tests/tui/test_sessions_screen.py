"""Sessions on the screen: exported without writing over anything, played again at every size."""

import os
from collections.abc import Callable
from pathlib import Path
from shutil import copy
from sqlite3 import connect

import pytest
from textual.pilot import Pilot

from drivers.lengths import Units
from logger.session.replay import survey, units_of
from tui.actions import Place
from tui.app import RisewalkApp
from tui.screens.sessions import free
from tui.walking.opening import Opening
from tui.walking.shelf import sessions_in
from tui.widgets.bars import Saying

GOLDEN = Path(__file__).parents[2] / "fixtures" / "sessions" / "v1.walk"


async def until(pilot: Pilot[str], true: Callable[[], object]) -> None:
    while not true():
        await pilot.pause(0.01)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with one recorded session, the app is started in it."""
    copy(GOLDEN, tmp_path / "bank.walk")
    monkeypatch.chdir(tmp_path)
    return tmp_path


async def never(_opening):
    raise AssertionError("no recorder is needed to look at what is recorded")


def test_nothing_is_written_over(tmp_path: Path) -> None:
    path = tmp_path / "bank.csv"
    assert free(path) == path
    path.touch()
    assert free(path).name == "bank-2.csv"
    (tmp_path / "bank-2.csv").touch()
    assert free(path).name == "bank-3.csv"


def test_a_session_that_is_open_was_changed_when_the_file_beside_it_was(folder: Path) -> None:
    """While a recorder writes, SQLite leaves the file itself as it was and grows the log beside it."""
    copy(GOLDEN, folder / "later.walk")
    os.utime(folder / "bank.walk", (1000, 1000))
    os.utime(folder / "later.walk", (2000, 2000))
    assert [each.path.stem for each in sessions_in(folder)] == ["later", "bank"]
    with connect(folder / "bank.walk") as holds:
        holds.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        (folder / "bank.walk-wal").touch()
        os.utime(folder / "bank.walk-wal", (3000, 3000))
        first = sessions_in(folder)[0]
    holds.close()
    assert (first.path.stem, first.changed_s) == ("bank", 3000)


@pytest.mark.parametrize(("told", "meant"), [("", "ft-in"), ("mm", "mm")])
def test_a_walk_gone_on_with_keeps_its_units(folder: Path, told: str, meant: str) -> None:
    """What 20 means must not change with a recorder that was killed and is started again without --units."""
    assert units_of(GOLDEN) is Units.FEET_INCHES
    command = Opening(folder / "bank.walk", units=told).record_command()
    assert command[command.index("--units") + 1] == meant
    (folder / "empty.walk").touch()
    for nothing_told in ("new.walk", "empty.walk"):
        assert "--units" not in Opening(folder / nothing_told).record_command()


async def test_a_drawing_needs_no_brief_kept_beside_the_session(folder: Path) -> None:
    app = RisewalkApp(None, never)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("shift+tab")
        await until(pilot, lambda: app.screen.query("Shelf") and app.screen._chosen() is not None)
        await pilot.press("e", *["down"] * 3, "enter")
        await until(pilot, lambda: "Written" in app.screen.query_one("#said", Saying).text)
        assert "LandXML" in (folder / "bank.landxml").read_text()
        await pilot.press("e", *["down"] * 4, "enter")

        def said() -> str:
            return app.screen.query_one("#said", Saying).text

        await until(pilot, lambda: "svg" in said() and "…" not in said())
        assert "brief.toml" not in said()


@pytest.mark.parametrize("size", [(40, 20), (120, 40)])
async def test_a_session_is_played_again(folder: Path, size: tuple[int, int]) -> None:
    app = RisewalkApp(None, never)
    async with app.run_test(size=size) as pilot:
        await pilot.press("shift+tab")
        await until(pilot, lambda: app.screen.query("Shelf") and app.screen._chosen() is not None)
        await pilot.press("r")
        await until(pilot, lambda: getattr(app.screen, "place", None) is Place.REPLAY)
        screen = app.screen
        await pilot.press("n", "n", "n", "n")
        await until(pilot, lambda: len(screen.walk.rows) >= 3 and screen.replayed.paused)
        shown = len(screen.walk.rows)
        live = screen.walk.live
        await pilot.pause(0.3)
        assert len(screen.walk.rows) == shown
        assert screen.walk.live == live, "the past grows no older while it is paused"

        def laid_on() -> int:
            best = screen.draft.best
            return len(survey(folder / "bank.walk", until_us=best.question.until_us).observations) if best else 0

        await until(pilot, lambda: laid_on() == shown)
        early = screen.draft.best
        await pilot.press(*"nnnnnnnnnnnnnnnn")
        await until(pilot, lambda: screen.replayed.ended and screen.draft.steps and screen.draft.best is not early)
        assert "risers of" in screen.best_words()[0]
        await pilot.press("tab")
        await until(pilot, lambda: app.screen.place is not Place.REPLAY)
        assert len(app.screen_stack) == 2
