"""The pictures the README shows, of the demo's invented site: the walk, the steps, and the section of the marking sheet.

    python tests/bench/pictures.py [FOLDER]      (fixtures/pictures unless told)

The demo is run and its walk played again on the screen up to its last station. Look at them before they are kept:

    rsvg-convert fixtures/pictures/walk.svg -o /tmp/walk.png
"""

import asyncio
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tui.actions import Place
from tui.app import RisewalkApp
from tui.cli.demo import SESSION
from tui.screens.ask import Told
from tui.themes import NOON
from tui.walking.opening import Opening
from tui.walking.replayed import Replayed

FOLDER = Path(__file__).parents[2] / "fixtures" / "pictures"
SIZE = (100, 30)
LAST_STATION = 19
"""How many things are observed in the demo up to the station at 30 ft."""


async def until(true: Callable[[], object]) -> None:
    """Wait for the app."""
    async with asyncio.timeout(60):
        while not true():  # noqa: ASYNC110 - the app announces nothing
            await asyncio.sleep(0.01)


async def screens(session: Path, brief: Path) -> dict[str, str]:
    """The walk and the steps, painted."""
    line = Replayed(session)

    async def connect(_: Opening) -> Replayed:
        return line

    found = {}
    app = RisewalkApp(Opening(session), connect, brief=brief, theme=NOON)
    async with app.run_test(size=SIZE) as pilot:
        for _ in range(LAST_STATION):
            line.step()
        await until(lambda: app.walk and len(app.walk.rows) >= LAST_STATION - 1 and app.draft.best)
        if isinstance(app.screen, Told):
            await pilot.press("enter")
        await until(lambda: not isinstance(app.screen, Told) and app.walk and app.walk.live)
        line._tell_live()
        await pilot.pause(0.3)
        found["walk"] = app.export_screenshot()
        app.action_go(Place.STEPS.value)
        await until(lambda: getattr(app.screen, "place", None) is Place.STEPS)
        await pilot.pause(0.5)
        found["steps"] = app.export_screenshot()
    return found


def main() -> None:
    """Make all three."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="risewalk-pictures-") as place:
        risewalk = [sys.executable, "-m", "tui.cli"]
        subprocess.run([*risewalk, "demo", place], check=True, capture_output=True)
        session, brief = Path(place) / SESSION, Path(place) / "brief.toml"
        section = folder / "section.svg"
        subprocess.run([*risewalk, "export", session, "--to", "svg", "--brief", brief, section], check=True)
        for name, picture in asyncio.run(screens(session, brief)).items():
            (folder / f"{name}.svg").write_text(picture, encoding="utf-8")
    for path in sorted(folder.glob("*.svg")):
        assert "http" not in path.read_text(encoding="utf-8").replace("http://www.w3.org", ""), f"{path} fetches"
        print(path)


if __name__ == "__main__":
    main()
