"""One screen for each part of the job, and the small ones that ask."""

from tui.actions import Place
from tui.screens.job import JobScreen
from tui.screens.walk import WalkScreen

TABLE: dict[Place, type[JobScreen]] = {Place.WALK: WalkScreen}
"""The screen for each part of the job."""
