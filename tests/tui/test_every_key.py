"""Every action by key, by tap and in the palette; help lists exactly the bindings; keys are obeyed in the order typed."""

from pathlib import Path

import pytest
from textual import events
from textual.pilot import Pilot

from tui.actions import ACTIONS, JOB, Place, actions_at, keys_shown, shown_key
from tui.app import RisewalkApp
from tui.screens import screen_of
from tui.screens.ask import Ask, Choose, Told
from tui.screens.help import Help, Line
from tui.screens.palette import NOTHING, Palette, commands_at
from tui.screens.replay import ReplayScreen
from tui.walking.opening import Opening
from tui.widgets.bars import KeyBar, Saying, Tabs, TakeBar
from tui.widgets.book import Book

SCREENS = {**{place: screen_of(place) for place in JOB}, Place.REPLAY: ReplayScreen}
FRAMEWORK = {"tab", "shift+tab", "ctrl+c", "super+c", "ctrl+q"}


def bound(place: Place) -> dict[str, set[str]]:
    """Keys by action, as a screen and the app really bind them."""
    found: dict[str, set[str]] = {}
    for owner in (SCREENS[place], RisewalkApp):
        for binding in owner.BINDINGS:
            found.setdefault(binding.action.split("(")[0], set()).update(binding.key.split(","))
    return found


@pytest.mark.parametrize("place", [*JOB, Place.REPLAY])
def test_help_and_bindings_are_the_same_list(place: Place) -> None:
    listed = {action.target: set(action.keys) for action in actions_at(place)}
    assert bound(place) == listed
    for action in actions_at(place):
        words = keys_shown(action).split()
        keys = {shown_key(key) for key in action.keys}
        figures = set("0123456789") if "0-9" in words else set()
        assert (set(words) - {"0-9"}) | figures == {word for key in keys for word in key.split()}


@pytest.mark.parametrize("place", [*JOB, Place.REPLAY])
def test_no_key_means_two_things_on_one_screen(place: Place) -> None:
    keys = [key for action in actions_at(place) for key in action.keys]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize("action", [a for a in ACTIONS if a.name not in ("command_palette", "suspend_process")])
def test_every_action_is_a_method(action) -> None:
    places = [action.place] if action.place is not Place.EVERYWHERE else [*JOB]
    owners = [RisewalkApp] if action.app else [SCREENS[place] for place in places]
    assert all(callable(getattr(owner, f"action_{action.name}", None)) for owner in owners)


async def until(pilot: Pilot[str], true) -> None:
    while not true():
        await pilot.pause(0.01)


@pytest.fixture
async def pilot(recorder, bank: Path):
    async def connect(_opening):
        return recorder

    app = RisewalkApp(Opening(bank), connect)
    async with app.run_test(size=(40, 20)) as running:
        await until(running, lambda: isinstance(app.screen, Told) and app.walk and app.walk.live)
        await running.press("enter")
        await until(running, lambda: not isinstance(app.screen, Told))
        yield running


async def test_help_on_every_screen_names_every_action_and_the_palette_finds_it(pilot: Pilot[str]) -> None:
    app = pilot.app
    for place in JOB:
        app.action_go(place.value)
        await until(pilot, lambda place=place: getattr(app.screen, "place", None) is place)
        screen = app.screen
        others = {f"app.go('{to.value}')" for to in JOB if to is not place}
        assert set(commands_at(place)) == others | {a.target for a in actions_at(place) if a.name != "command_palette"}
        await pilot.press("question_mark")
        await until(pilot, lambda: isinstance(app.screen, Help) and app.screen.query(Line))
        said = [str(line.content) for line in app.screen.query(Line)]
        assert said[1::2] == [action.does for action in actions_at(place)]
        await pilot.press("escape")
        await until(pilot, lambda screen=screen: app.screen is screen)


async def test_a_tap_in_help_does_what_the_line_says(pilot: Pilot[str], recorder) -> None:
    await pilot.press("question_mark")
    await until(pilot, lambda: isinstance(pilot.app.screen, Help) and pilot.app.screen.query(Line))
    line = next(each for each in pilot.app.screen.query(Line) if "Observe the zero again." in str(each.content))
    await pilot.click(line)
    await pilot.press("space")
    await until(pilot, lambda: recorder.rows)
    assert recorder.lines[-1] == "benchmark BM"


async def test_bars_tabs_and_rows_can_be_tapped(pilot: Pilot[str], recorder) -> None:
    app = pilot.app
    await pilot.click(TakeBar)
    await until(pilot, lambda: len(app.walk.rows) == 1)
    await pilot.pause()
    await pilot.click(Book, offset=(3, 1))
    assert app.screen.query_one(Book).chosen.n == 1
    await pilot.click(KeyBar, offset=(14, 0))
    await until(pilot, lambda: "Strike out no. 1" in app.screen.query_one("#said", Saying).text)
    await pilot.click(Tabs, offset=(14, 0))
    await until(pilot, lambda: getattr(app.screen, "place", None) is Place.STEPS)
    await pilot.click(Tabs, offset=(1, 0))
    await until(pilot, lambda: getattr(app.screen, "place", None) is Place.WALK)


async def test_the_palette_does_what_it_finds(pilot: Pilot[str], recorder) -> None:
    app = pilot.app
    await pilot.press("ctrl+p")
    await until(pilot, lambda: isinstance(app.screen, Palette) and app.focused)
    await pilot.press(*"remark")
    await until(pilot, lambda: app.screen.query_one("OptionList").option_count == 1)
    await pilot.press(*["backspace"] * 6, *"surface")
    await until(pilot, lambda: app.screen.query_one("OptionList").highlighted_option.id == "screen.surface")
    await pilot.press(*["backspace"] * 7, *"remarkq")
    assert str(app.screen.query_one("#wrong").content) == NOTHING
    await pilot.press("enter", "backspace", "enter")
    await until(pilot, lambda: isinstance(app.screen, Ask) and app.focused)
    await pilot.press(*"dry", "enter")
    await until(pilot, lambda: recorder.lines[-1] == "note dry")


async def test_words_typed_at_once_reach_the_palette_and_never_the_screen_below(pilot: Pilot[str], recorder) -> None:
    """`r`, `d` and ENTER are keys of the walk: behind the palette they are what is typed, however fast they come."""
    before = pilot.app.theme
    for key in ("ctrl+p", *"remark", "enter", *"dry", "enter"):
        pilot.app.post_message(events.Key(key, key))
    await until(pilot, lambda: len(recorder.lines) > 1)
    assert (recorder.lines, pilot.app.theme) == (["watch on", "note dry"], before)


async def test_the_palette_goes_to_another_screen(pilot: Pilot[str]) -> None:
    await pilot.press("ctrl+p", *"set out", "enter")
    await until(pilot, lambda: getattr(pilot.app.screen, "place", None) is Place.SET_OUT)


async def test_a_question_can_be_answered_by_taps_alone(pilot: Pilot[str], recorder) -> None:
    app = pilot.app
    app.screen.action_surface()
    await until(pilot, lambda: isinstance(app.screen, Choose) and app.focused)
    await pilot.press("down")
    await pilot.click(next(iter(app.screen.query("Link"))))
    await until(pilot, lambda: recorder.surface == "dug")
    app.screen.action_note()
    await until(pilot, lambda: app.screen.query("Link") and app.focused)
    await pilot.click(list(app.screen.query("Link"))[1])
    await until(pilot, lambda: getattr(app.screen, "place", None) is Place.WALK)
    assert recorder.lines[-1] == "surface dug"


async def test_a_burst_of_keys_is_obeyed_in_its_order(pilot: Pilot[str], recorder) -> None:
    """Over a slow line many keys come at once; none is lost, and one that corrects corrects what stood before it."""
    recorder.shows(0.5)
    for key, text in (("1", "1"), ("2", "2"), ("backspace", None), ("3", "3"), ("full_stop", "."), ("5", "5")):
        pilot.app.post_message(events.Key(key, text))
    pilot.app.post_message(events.Key("enter", "\r"))
    recorder.zero = ("BM", 0.5)
    await until(pilot, lambda: recorder.rows)
    assert recorder.lines[-1] == "station 13.5 ft"


async def test_a_burst_reaches_a_choice_too(pilot: Pilot[str], recorder) -> None:
    for key in ("s", "down", "down", "enter"):
        pilot.app.post_message(events.Key(key, None))
    await until(pilot, lambda: recorder.surface == "base")
