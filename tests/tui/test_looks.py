"""Both themes can be read in the sun, every screen holds what matters at every size, and little is painted."""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import numpy
import pytest
from rich.color import Color
from rich.segment import Segment
from textual.pilot import Pilot

from drivers.simulator.ground import read_ground
from tui.actions import JOB, Place
from tui.app import RisewalkApp
from tui.cli.demo import site
from tui.messages import BookChanged
from tui.screens.ask import Told
from tui.screens.help import Help
from tui.themes import DUSK, NOON
from tui.walking.opening import Opening

SIZES = [(40, 20), (60, 20), (80, 24), (120, 40)]
TEXT, REST = 7.0, 4.5
ESSENTIAL = {
    Place.INSTRUMENT: ["p port", "i instrument", "ENTER ▸", "? help"],
    Place.WALK: ["above BM", "steady", "live", "SPACE ▸ station", "? help"],
    Place.STEPS: ["risers", "treads", "? help"],
    Place.SET_OUT: ["riser 1", "tape", "SPACE ▸ riser 1", "of ", "taken", "? help"],
    Place.CHECK: ["riser 1", "designed", "SPACE ▸", "of ", "taken", "? help"],
    Place.SESSIONS: ["Sessions in", "ENTER", "? help"],
}


def luminance(colour: Color) -> float:
    """Relative luminance as WCAG 2.2 defines it (https://www.w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    parts = [c / 255 for c in colour.get_truecolor()]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Color, other: Color) -> float:
    """Contrast ratio of two colours (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_measure_is_that_of_the_standard() -> None:
    """Published pairs: black on white is 21:1, #767676 on white the lightest grey of 4.5:1 (WebAIM, WCAG notes)."""
    white = Color.parse("#ffffff")
    assert contrast(Color.parse("#000000"), white) == pytest.approx(21.0)
    assert contrast(Color.parse("#767676"), white) == pytest.approx(4.54, abs=0.01)
    assert contrast(Color.parse("#777777"), white) < REST


def painted(app: RisewalkApp) -> list[list[Segment]]:
    """Every segment of the screen in front, with what lies behind it."""
    from textual._compositor import visible_screen_stack

    visible_screen_stack.set(app._background_screens)
    return [list(strip) for strip in app.screen._compositor.render_strips()]


def shown(app: RisewalkApp) -> str:
    return "\n".join("".join(s.text for s in line) for line in painted(app))


def pale(app: RisewalkApp) -> Iterator[str]:
    """What is painted with less contrast than it must have."""
    for segment in (s for line in painted(app) for s in line):
        text = segment.text.strip()
        style = segment.style
        if not text or style is None or style.color is None or style.bgcolor is None:
            continue
        ratio = contrast(style.color, style.bgcolor)
        if ratio < (TEXT if any(c.isalnum() for c in text) else REST):
            yield f"{text!r}: {style} {ratio:.2f}"


async def until(pilot: Pilot[str], true: Callable[[], object]) -> None:
    """Let the app work until something holds."""
    async with asyncio.timeout(60):
        while not true():
            await pilot.pause(0.01)


@pytest.fixture
def bank(tmp_path: Path) -> Path:
    """The demo's site: its ground as the profile that stands in for a session, and its brief without named points."""
    path = tmp_path / "bank.walk"
    path.write_text(site("ground.csv"))
    brief = [line for line in site("brief.toml").splitlines() if not line.startswith(("foot", "head"))]
    (tmp_path / "brief.toml").write_text("\n".join(brief))
    return path


@pytest.fixture
def opened(recorder, bank: Path, clock_stands):
    """The app on the demo's ground, walked by the recorder in hand."""
    ground = bank.with_suffix(".csv")
    ground.write_text(site("ground.csv"))
    line = read_ground(ground)

    @asynccontextmanager
    async def opening(size: tuple[int, int], theme: str = NOON):
        recorder.shows(0.5)
        await recorder.ask("benchmark BM")
        for foot in range(0, 21, 4):
            recorder.shows(0.5 + line.elevation_m(foot * 0.3048))
            await recorder.ask(f"station {foot} ft")

        async def connect(_opening):
            return recorder

        brief = bank.with_name("brief.toml")
        app = RisewalkApp(Opening(bank), connect, brief=brief, theme=theme)
        async with app.run_test(size=size) as pilot:
            await until(pilot, lambda: app.walk and app.walk.live and app.draft.wanted)
            await until(pilot, lambda: app.draft.best is not None)
            yield pilot

    return opening


async def everywhere(pilot: Pilot[str]) -> AsyncIterator[Place]:
    """Every screen of the job, painted."""
    for place in JOB:
        pilot.app.action_go(place.value)
        await until(pilot, lambda place=place: getattr(pilot.app.screen, "place", None) is place)
        await pilot.pause(0.15)
        yield place


@pytest.mark.parametrize("size", SIZES)
async def test_every_screen_holds_what_matters(opened, size: tuple[int, int]) -> None:
    async with opened(size) as pilot:
        assert pilot.app.draft.best.options is not None, pilot.app.draft.best.trouble
        async for place in everywhere(pilot):
            for words in ESSENTIAL[place]:
                assert words in shown(pilot.app), f"{place}: {words}\n{shown(pilot.app)}"


@pytest.mark.parametrize(("theme", "size"), [(NOON, (120, 40)), (DUSK, (40, 20))])
async def test_both_themes_hold_their_contrast(opened, theme: str, size: tuple[int, int]) -> None:
    async with opened(size, theme) as pilot:
        app = pilot.app
        async for place in everywhere(pilot):
            assert not list(pale(app)), place
            await pilot.press("question_mark")
            await until(pilot, lambda: isinstance(app.screen, Help))
            assert not list(pale(app)), f"help of {place}"
            await pilot.press("escape")
        app.action_go(Place.WALK.value)
        for keys in (["q"], ["p", "a"]):
            await pilot.press(*keys)
            await pilot.pause(0.1)
            assert not list(pale(app)), keys
            await pilot.press("escape")


async def test_a_verdict_is_shown_once(opened, monkeypatch: pytest.MonkeyPatch) -> None:
    async with opened((80, 24)) as pilot:
        app, heard = pilot.app, Counter[str]()
        app.action_go(Place.CHECK.value)
        await until(pilot, lambda: "not yet" in shown(app))
        table, was = app.screen.query_one("#verdicts"), app.screen.query_one("#verdicts").show
        monkeypatch.setattr(table, "show", lambda pairs: (heard.update(["verdict"]), was(pairs)))
        app.draft.ask_check()
        await until(pilot, lambda: heard["verdict"])
        await pilot.pause(0.3)
        assert heard["verdict"] == 1


async def test_the_check_asks_for_the_foot_by_the_name_the_brief_has_for_it(opened) -> None:
    async with opened((80, 24)) as pilot:
        app = pilot.app
        brief = app.draft.best.brief
        steps = brief.steps.model_copy(update={"foot": "lane"})
        app.draft.best = replace(app.draft.best, brief=brief.model_copy(update={"steps": steps}))
        app.action_go(Place.CHECK.value)
        await until(pilot, lambda: "point lane" in shown(app))


@pytest.mark.parametrize("asked", [False, True])
async def test_a_reading_never_paints_the_whole_screen(opened, recorder, asked: bool) -> None:
    async with opened((80, 24)) as pilot:
        app = pilot.app
        if asked:
            app.push_screen(Told("A question", ["of one line"]))
        cells, display = Counter[str](), app._display

        def counted(screen, update) -> None:
            cells["updates"] += 1
            cells[type(update).__name__] += sum(end - start for _, start, end in getattr(update, "spans", ()))
            display(screen, update)

        app._display = counted
        while True:  # until all that opening it has to paint is painted
            await pilot.pause(0.5)
            if not cells["updates"]:
                break
            cells.clear()
        cells.clear()
        for millimetre in range(5):
            recorder.shows(1.0 + 0.011 * millimetre)
            await until(pilot, lambda mm=millimetre: app.walk.live.height_m == 1.0 + 0.011 * mm)
            await pilot.pause(0.12)
        assert set(cells) <= {"ChopsUpdate", "NoneType", "updates"}
        assert 5 < cells["ChopsUpdate"] < 5 * 80 * 24 / 2


async def test_layouts_of_a_walk_with_uncertainties_follow_each_other_on_set_out(opened) -> None:
    """A profile that came of a walk carries an array, which cannot be compared as a whole."""
    async with opened((80, 24)) as pilot:
        app = pilot.app
        app.action_go(Place.SET_OUT.value)
        await until(pilot, lambda: "0 of 28 taken" in shown(app))
        for _ in range(2):
            ground = app.draft.best.profile
            count = len(ground.points) + len(ground.named)
            app.draft.best = replace(
                app.draft.best, profile=replace(app.draft.best.profile, covariance_m2=numpy.eye(count) * 1e-8)
            )
            app.screen.post_message(BookChanged())
            await pilot.pause(0.1)
        assert "0 of 28 taken" in shown(app)
