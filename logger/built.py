"""From the walk over the finished steps to heights by riser and place, with their covariance: input of the as-built."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from logger.built_heights import FOOT, FOOT_NAME, Built, Place
from logger.errors import WrongFile
from logger.observation import Kind, Survey
from logger.reduction.adjustment import adjust
from logger.reduction.points import PointKey


def built_of(survey: Survey, risers: int, source: Path | str, foot: str = "") -> Built:
    """Heights of the built steps and the faces taped beside them.

    `foot` names the point that is the walk below the first riser; without it, a point named `foot` is. WrongFile where
    nothing was observed, or a riser was that the plan does not have.
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
        return Built((), np.zeros(0), np.zeros((0, 0)), faces, digest=survey.session_digest)
    adjusted = adjust(survey)
    places: dict[Place, PointKey] = {(k.riser, k.place): k for k in adjusted.heights if k.kind is Kind.BUILT}
    below = PointKey(Kind.POINT, name=foot or FOOT_NAME)
    if below in adjusted.heights:
        places[FOOT] = below
    keys = list(places.values())
    heights = np.array([adjusted.heights[key].elevation_m for key in keys])
    covariance = np.array([[adjusted.covariance(one, two) for two in keys] for one in keys])
    profile = adjusted.profile
    return Built(
        tuple(places),
        heights,
        covariance,
        faces,
        profile.datum,
        profile.datum_elevation_m,
        survey.session_digest,
    )


def _beyond(survey: Survey, risers: int) -> Iterator[str]:
    """Risers the plan does not have."""
    for seen in survey.observations:
        if seen.kind is Kind.BUILT and not seen.struck and not 1 <= (seen.riser or 0) <= risers:
            yield f"observation {seen.n} is of riser {seen.riser}: the layout has risers 1 to {risers}"
    for face in survey.faces:
        if not face.struck and not 1 <= face.riser <= risers:
            yield f"face {face.n} is of riser {face.riser}: the layout has risers 1 to {risers}"
