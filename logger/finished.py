"""A walk over finished steps held against the layout they were built to: `[file] -> AsBuilt`."""

from pathlib import Path

from logger.asbuilt import AsBuilt, Held, Limits, check
from logger.built import built_of
from logger.profile import Profile
from logger.session.replay import survey
from logger.setout import set_out
from logger.steps.brief import Brief
from logger.steps.option import Option


def judged(walked: Path, profile: Profile, option: Option, *, brief: Brief, limits: Limits | None = None) -> AsBuilt:
    """The verdict on the steps observed in `walked`, by the limits, rule sets, width and foot of the brief.

    Raises FileError and its kinds where the walk cannot be read or does not fit the layout.
    """
    seen = built_of(survey(walked), option.risers, walked, brief.steps.foot)
    held = Held(limits or Limits(), brief.rule_sets, brief.steps.width_m, brief.shown_in)
    return check(set_out(profile, option, brief), seen.built, held, seen.distances)
