"""Every action there is, with its keys: the key bar, help, the command palette and the bindings are made from this."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.binding import Binding


class Place(StrEnum):
    """Where an action holds: on every screen, or on one."""

    EVERYWHERE = "everywhere"
    INSTRUMENT = "instrument"
    WALK = "walk"
    STEPS = "steps"
    SET_OUT = "set out"
    CHECK = "check"
    SESSIONS = "sessions"
    REPLAY = "replay"


JOB = (Place.INSTRUMENT, Place.WALK, Place.STEPS, Place.SET_OUT, Place.CHECK, Place.SESSIONS)
"""The screens in the order of the job."""


@dataclass(frozen=True, slots=True)
class Action:
    """Something a person can do: `name` is that of the `action_` method, which is told the key if `with_key`."""

    name: str
    keys: tuple[str, ...]
    label: str
    does: str
    place: Place = Place.EVERYWHERE
    on_bar: bool = True
    app: bool = False
    with_key: bool = False

    @property
    def target(self) -> str:
        """The action as the framework calls it."""
        return f"app.{self.name}" if self.app else f"screen.{self.name}"

    @property
    def key_shown(self) -> str:
        """The first key as it is written for people."""
        return shown_key(self.keys[0])


FIGURES = "0123456789"
LEAVES_ALWAYS = "ctrl+c"
"""The one key that is obeyed even while something is being typed."""
KEY_NAMES = {
    "space": "SPACE",
    "enter": "ENTER",
    "escape": "ESC",
    "question_mark": "?",
    "delete": "DEL",
    "backspace": "BKSP",
    "tab": "TAB",
    "shift+tab": "shift TAB",
    "comma": ",",
    "full_stop": ".",
    "plus": "+",
    "minus": "-",
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
}


def shown_key(key: str) -> str:
    """A key as it is written for people."""
    return KEY_NAMES.get(
        key, key.replace("ctrl+", "^").upper() if key.startswith(("ctrl+", "f")) and key != "f" else key
    )


def keys_shown(action: Action) -> str:
    """All its keys as they are written for people; the ten figures as one."""
    keys = [shown_key(key) for key in action.keys if key not in FIGURES]
    return " ".join([*keys, *(["0-9"] if set(FIGURES) <= set(action.keys) else [])])


def _at(place: Place) -> Callable[..., Action]:
    """Makes the actions of one screen, the keys written with blanks between them."""

    def action(name: str, keys: str, label: str, does: str, *, on_bar: bool = True) -> Action:
        return Action(name, tuple(keys.split()), label, does, place, on_bar)

    return action


_walk, _steps, _set_out = _at(Place.WALK), _at(Place.STEPS), _at(Place.SET_OUT)
_check, _sessions, _replay = _at(Place.CHECK), _at(Place.SESSIONS), _at(Place.REPLAY)
_instrument = _at(Place.INSTRUMENT)

ACTIONS = (
    _walk("take", "space enter", "take", "Take the reading that is suggested."),
    _walk("undo", "u backspace", "undo", "Strike out the last observation (asked twice)."),
    _walk("turn", "t", "turn", "Turning point: observe it, move the reference end, observe it again."),
    _walk("zero", "z", "zero", "Observe the zero again."),
    Action(
        "type",
        ("i", *FIGURES, "full_stop", "minus"),
        "type",
        "Type a station: 12.5, 12 ft 6 in, 12 left 2, 12 # edge of the bank.",
        Place.WALK,
        on_bar=False,
        with_key=True,
    ),
    _walk("point", "p", "point", "Observe a named point: the patio, a sill, the walk below."),
    _walk("note", "n", "note", "Write a remark into the session."),
    _walk("force", "f", "force", "Take the next reading without waiting for it to be steady."),
    _walk("stop_waiting", "escape", "stop", "End the wait for a steady reading, or withdraw a question.", on_bar=False),
    _walk("surface", "s", "surface", "Say what the next stations are on: ground, dug, base, built.", on_bar=False),
    _walk("rod", "r", "rod", "Say how high the stick is that the probe stands on.", on_bar=False),
    _walk("row_up", "up", "up", "Choose the row above.", on_bar=False),
    _walk("row_down", "down", "down", "Choose the row below.", on_bar=False),
    _walk("strike_row", "delete", "strike", "Strike out the chosen row (asked twice).", on_bar=False),
    _steps("layout_up", "up k", "up", "The layout ranked before.", on_bar=False),
    _steps("layout_down", "down j space", "next", "The layout ranked after."),
    _steps("edit", "e enter", "edit", "Change what is wanted: rise, run, tread, landings, rules."),
    _steps("top", "o", "top", "At the top: is there something already there to step up onto?"),
    _steps("why_not", "w", "why not", "Why other counts cannot be; again: what the rules say of this one."),
    _steps("compare", "c", "compare", "Put this layout beside another."),
    _steps("scroll_details", "m", "more", "Turn the page of the details.", on_bar=False),
    _steps("keep", "b", "keep", "Keep the brief in its file."),
    _set_out("take", "space enter", "take", "Keep what is under the probe at this mark, and go on to the next."),
    _set_out("next_mark", "down right n", "next", "The next mark, without taking this one."),
    _set_out("last_mark", "up left p", "before", "The mark before."),
    _set_out("level", "l", "level", "Work to another height: finished, course, base top, subgrade, ground crossing."),
    _set_out("zero", "z", "zero", "Observe the zero again."),
    _set_out("force", "f", "force", "Take the next reading without waiting for it to be steady."),
    _set_out("stop_waiting", "escape", "stop", "End the wait for a steady reading.", on_bar=False),
    _check("take", "space enter", "take", "Observe the built step at the place named, and go on to the next."),
    _check("next_mark", "down right n", "next", "The next place, without observing this one."),
    _check("last_mark", "up left p", "before", "The place before."),
    _check("face", "a", "face", "Write down a face measured with tape and spirit level."),
    _check("depth", "t", "tread", "Write down the depth of a tread or landing measured with a tape."),
    _check("zero", "z", "zero", "Observe the zero again."),
    _check("undo", "u backspace", "undo", "Strike out the last observation of a built step (asked twice)."),
    _check("scroll_details", "m", "more", "Turn the page of the findings.", on_bar=False),
    _check("force", "f", "force", "Take the next reading without waiting for it to be steady."),
    _check(
        "stop_waiting", "escape", "stop", "End the wait for a steady reading, or withdraw a question.", on_bar=False
    ),
    _sessions("open", "enter space", "open", "Go on with the chosen session where it was left."),
    _sessions("replay", "r", "replay", "Play the chosen session again."),
    _sessions("export", "e", "export", "Write the chosen session in another format."),
    _sessions("verify", "c", "verify", "Check that the session is what was recorded."),
    _sessions("row_up", "up", "up", "The session above.", on_bar=False),
    _sessions("row_down", "down", "down", "The session below.", on_bar=False),
    _replay("pause", "space enter", "pause", "Stop, or go on."),
    _replay("step", "right n", "step", "Play to the next thing observed, then pause."),
    _replay("faster", "up plus", "faster", "The next speed up."),
    _replay("slower", "down minus", "slower", "The next speed down."),
    _replay("back", "escape b", "back", "Back to the sessions."),
    _instrument("begin", "enter space", "begin", "Begin a new session with what is chosen."),
    _instrument("port", "p", "port", "Choose where the instrument is."),
    _instrument("instrument", "i", "instrument", "Choose what it is."),
    _instrument("tape", "t", "tape", "Say how the tape is held."),
    _instrument("bare", "b", "numbers", "Say what a number without a unit is in."),
    _instrument("listen", "l", "listen", "Listen to an unknown instrument and say what it speaks."),
    Action("next_screen", ("tab",), "next", "Go to the next screen of the job.", app=True, on_bar=False),
    Action("last_screen", ("shift+tab",), "back", "Go back one screen of the job.", app=True, on_bar=False),
    Action("units", ("v",), "units", "Show feet and inches, decimal feet, metres, or millimetres.", app=True),
    Action("sun", ("d",), "sun", "Black on white for the sun, or the dark theme.", app=True),
    Action("hush", ("x",), "hush", "Sound off, or on.", app=True, on_bar=False),
    Action("explain", ("question_mark", "f1"), "help", "List all keys.", app=True),
    Action("command_palette", ("ctrl+p",), "all", "Find any action by its words.", app=True, on_bar=False),
    Action(
        "suspend_process", ("ctrl+z",), "pause", "Put the screen aside; `fg` brings it back.", app=True, on_bar=False
    ),
    Action("leave", ("q", "ctrl+c"), "leave", "Leave the screen; the recording goes on unless ended.", app=True),
)


def actions_at(place: Place) -> Iterator[Action]:
    """The actions that hold on a screen, its own first."""
    yield from (a for a in ACTIONS if a.place is place)
    if place is not Place.EVERYWHERE:
        yield from (a for a in ACTIONS if a.place is Place.EVERYWHERE)


def bindings(place: Place) -> "list[Binding]":
    """The key bindings of one screen, or of the app for `EVERYWHERE`."""
    from textual.binding import Binding

    made = []
    for action in (a for a in ACTIONS if a.place is place):
        for key in action.keys:
            target = f"{action.target}('{key}')" if action.with_key else action.target
            made.append(Binding(key, target, action.does, show=False, priority=key == LEAVES_ALWAYS))
    return made
