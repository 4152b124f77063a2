"""What the screens look like, kept as pictures: two sizes, both themes, the demo's ground. `--snapshot-update` renews them."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers.simulator.ground import read_ground
from tui.actions import Place
from tui.app import RisewalkApp
from tui.cli.demo import site
from tui.screens.ask import Told
from tui.themes import DUSK, NOON
from tui.walking.opening import Opening


@pytest.fixture
def bank(tmp_path: Path, clock_stands, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The demo's ground as the profile that stands in for a session, its brief, and a clock that stands at Greenwich."""
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    path = tmp_path / "bank.walk"
    path.write_text(site("ground.csv"))
    brief = [line for line in site("brief.toml").splitlines() if not line.startswith(("foot", "head"))]
    (tmp_path / "brief.toml").write_text("\n".join(brief))
    yield path
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(("size", "theme"), [((40, 20), NOON), ((80, 24), DUSK)], ids=["small", "large"])
@pytest.mark.parametrize("place", [Place.WALK, Place.STEPS, Place.SET_OUT])
def test_screen_looks_as_it_did(snap_compare, recorder, bank: Path, place: Place, size, theme: str) -> None:
    ground = bank.with_suffix(".csv")
    ground.write_text(site("ground.csv"))
    line = read_ground(ground)

    async def connect(_opening):
        recorder.shows(0.5)
        await recorder.ask("benchmark BM")
        for foot in range(0, 21, 4):
            recorder.shows(0.5 + line.elevation_m(foot * 0.3048))
            await recorder.ask(f"station {foot} ft")
        return recorder

    app = RisewalkApp(Opening(bank), connect, brief=bank.with_name("brief.toml"), theme=theme)

    async def there(pilot) -> None:
        while not (app.walk and app.walk.live and app.draft.best):
            await pilot.pause(0.01)
        if isinstance(app.screen, Told):
            await pilot.press("enter")
        app.action_go(place.value)
        while getattr(app.screen, "place", None) is not place:
            await pilot.pause(0.01)
        recorder.shows(0.5 + line.elevation_m(20 * 0.3048))
        await pilot.pause(0.2)

    assert snap_compare(app, terminal_size=size, run_before=there)
