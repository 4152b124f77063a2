"""One screen for each part of the job, and the small ones that ask."""

from tui.actions import Place
from tui.screens.check import CheckScreen
from tui.screens.instrument import InstrumentScreen
from tui.screens.job import JobScreen
from tui.screens.sessions import SessionsScreen
from tui.screens.setout import SetOutScreen
from tui.screens.steps import StepsScreen
from tui.screens.walk import WalkScreen

TABLE: dict[Place, type[JobScreen]] = {
    Place.INSTRUMENT: InstrumentScreen,
    Place.WALK: WalkScreen,
    Place.STEPS: StepsScreen,
    Place.SET_OUT: SetOutScreen,
    Place.CHECK: CheckScreen,
    Place.SESSIONS: SessionsScreen,
}
"""The screen for each part of the job."""
