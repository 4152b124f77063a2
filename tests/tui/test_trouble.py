"""What goes wrong is said truly: errors of ours, a session that cannot be opened, a poor instrument, a recorder gone."""

from collections.abc import Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot

from logger.errors import Refused
from tui.actions import Place
from tui.app import RisewalkApp
from tui.screens.ask import Told
from tui.walking.opening import Opening
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.gauges import Gauges

COARSE = "steps of 10 mm: too coarse for steps"


async def until(pilot: Pilot[str], true: Callable[[], object]) -> None:
    while not true():
        await pilot.pause(0.01)


def said(pilot: Pilot[str], name: str = "said") -> str:
    return pilot.app.screen.query_one(f"#{name}", Saying).text


async def test_an_error_of_ours_names_the_recorder_only_where_there_is_one(recorder, bank: Path) -> None:
    async def connect(_opening):
        return recorder

    for opening in (None, Opening(bank)):
        app = RisewalkApp(opening, connect)
        async with app.run_test() as pilot:
            if opening is not None:
                await until(pilot, lambda app=app: app.walk and app.walk.standing)
            app._fatal_error()
            await pilot.pause()
        assert app.return_code == 1
        assert ("The recorder goes on" in app.return_value) is (opening is not None)
        assert "walk.log" in app.return_value


async def test_what_cannot_be_opened_can_be_tried_again_with_another_port(recorder, bank: Path) -> None:
    asked = []

    async def connect(opening):
        asked.append(opening)
        if len(asked) == 1:
            raise Refused("not_started", "/dev/ttyS9: busy; close what holds it")
        return recorder

    app = RisewalkApp(Opening(bank, "/dev/ttyS9", "ascii-lines", tape="level"), connect)
    async with app.run_test() as pilot:
        await until(pilot, lambda: isinstance(app.screen, Told))
        assert "close what holds it" in "".join(app.screen._lines)
        await pilot.press("enter")
        await until(pilot, lambda: getattr(app.screen, "place", None) is Place.INSTRUMENT)
        bar = "".join(text for line in app.screen.query_one(TakeBar).lines(80, 1) for text, _ in line)
        assert f"try {bank.name} again: ascii-lines on /dev/ttyS9" in bar
        await pilot.press("enter")
        await until(pilot, lambda: app.walk and app.walk.standing)
    assert [each.session for each in asked] == [bank, bank]


@pytest.mark.parametrize("size", [(40, 20), (80, 24)])
async def test_a_remark_on_the_instrument_is_seen_on_the_walk(recorder, bank: Path, size: tuple[int, int]) -> None:
    recorder.status_extra = {"remarks": [COARSE]}

    async def connect(_opening):
        return recorder

    app = RisewalkApp(Opening(bank), connect)
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: isinstance(app.screen, Told))
        await pilot.press("enter")
        await until(pilot, lambda: not isinstance(app.screen, Told) and COARSE in said(pilot))
        await pilot.press("space")
        await until(pilot, lambda: "Taken and saved" in said(pilot))
        lines = app.screen.query_one(Gauges).lines(31, 7)
        assert any("mind: steps of 10 mm" in text for line in lines for text, _ in line)
        await pilot.press("escape")
        await until(pilot, lambda: COARSE in said(pilot))


async def test_a_recorder_that_goes_is_said_at_once(recorder, bank: Path) -> None:
    async def connect(_opening):
        return recorder

    app = RisewalkApp(Opening(bank), connect)
    async with app.run_test() as pilot:
        await until(pilot, lambda: isinstance(app.screen, Told))
        await pilot.press("enter")
        recorder.dies()
        await until(pilot, lambda: "recorder is gone" in said(pilot))
        assert app.walk.standing.link == "lost"
