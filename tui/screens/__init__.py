"""One screen for each part of the job, and the small ones that ask; a screen is read when it is first looked at."""

from importlib import import_module
from typing import TYPE_CHECKING

from tui.actions import Place

if TYPE_CHECKING:
    from tui.screens.job import JobScreen

MODULES = {
    Place.INSTRUMENT: ("instrument", "InstrumentScreen"),
    Place.WALK: ("walk", "WalkScreen"),
    Place.STEPS: ("steps", "StepsScreen"),
    Place.SET_OUT: ("setout", "SetOutScreen"),
    Place.CHECK: ("check", "CheckScreen"),
    Place.SESSIONS: ("sessions", "SessionsScreen"),
}
"""Module and class of the screen for each part of the job."""


def screen_of(place: Place) -> "type[JobScreen]":
    """The screen for a part of the job."""
    module, name = MODULES[place]
    screen: type[JobScreen] = getattr(import_module(f"{__name__}.{module}"), name)
    return screen
