"""From the walk over the finished steps to heights by riser and place, with their covariance: input of the as-built."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from logger.asbuilt import Built, Place
from logger.errors import WrongFile
from logger.observation import Kind, Survey
from logger.reduction.adjustment import adjust


def built_of(survey: Survey, risers: int, source: Path | str) -> Built:
    """Heights of the built steps and the faces taped beside them.

    WrongFile where nothing was observed, or a riser was that the plan does not have.
    """
    faces = tuple(face for face in survey.faces if not face.struck)
    seen = [o for o in survey.observations if o.kind is Kind.BUILT and not o.struck]
    if not seen and not faces:
        raise WrongFile(
            source, ["no riser was observed as built: tag them as `built RISER front` and `built RISER back`"]
        )
    if mistakes := list(_beyond(survey, risers)):
        raise WrongFile(source, mistakes)
    if not seen:
        return Built((), np.zeros(0), np.zeros((0, 0)), faces)
    adjusted = adjust(survey)
    keys = [key for key in adjusted.heights if key.kind is Kind.BUILT]
    places: list[Place] = [(key.riser, key.place) for key in keys]
    heights = np.array([adjusted.heights[key].elevation_m for key in keys])
    covariance = np.array([[adjusted.covariance(one, two) for two in keys] for one in keys])
    profile = adjusted.profile
    return Built(tuple(places), heights, covariance, faces, profile.datum, profile.datum_elevation_m)


def _beyond(survey: Survey, risers: int) -> Iterator[str]:
    """Risers the plan does not have; riser 0 stands for the walk at the foot, and has only a back."""
    for seen in survey.observations:
        if seen.kind is not Kind.BUILT or seen.struck or seen.riser is None:
            continue
        if not 0 <= seen.riser <= risers or (seen.riser == 0 and seen.place != "back"):
            yield f"observation {seen.n} is of riser {seen.riser}, {seen.place}: the layout has risers 1 to {risers}"
    for face in survey.faces:
        if not face.struck and not 1 <= face.riser <= risers:
            yield f"face {face.n} is of riser {face.riser}: the layout has risers 1 to {risers}"
