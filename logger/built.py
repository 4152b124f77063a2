"""From the walk over the finished steps to heights by riser and place, with their covariance: input of the as-built."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from logger.built_depths import NONE, Distances, distances
from logger.built_heights import FOOT, FOOT_NAME, Built, Place
from logger.errors import WrongFile
from logger.observation import Kind, Survey, Taped
from logger.reduction.adjustment import Adjustment, adjust
from logger.reduction.points import PointKey


@dataclass(frozen=True, slots=True)
class Finished:
    """One walk over finished steps: heights, and the distances and depths taped beside them."""

    built: Built
    distances: Distances = NONE


def built_of(survey: Survey, risers: int, source: Path | str, foot: str = "") -> Finished:
    """Heights of the built steps, the faces taped beside them, and the distances read at them.

    The walk below the first riser is `built 0 back`, else the point that `foot` names, else a point named `foot`.
    WrongFile where nothing was observed, or a riser was that the plan does not have.
    """
    faces, treads = (tuple(t for t in taped if not t.struck) for taped in (survey.faces, survey.treads))
    seen = [o for o in survey.observations if o.kind is Kind.BUILT and not o.struck]
    if not seen and not faces and not treads:
        raise WrongFile(source, ["no riser was observed as built: the front and the back of each are to be tagged"])
    if mistakes := list(_beyond(survey, risers)):
        raise WrongFile(source, mistakes)
    if not seen:
        empty = Built((), np.zeros(0), np.zeros((0, 0)), faces, digest=survey.session_digest)
        return Finished(empty, Distances(treads=treads))
    built = _heights(adjust(survey), foot, faces, survey.session_digest)
    return Finished(built, distances(survey.observations, built, survey.tape, treads))


def _heights(adjusted: Adjustment, foot: str, faces: tuple[Taped, ...], digest: str) -> Built:
    places: dict[Place, PointKey] = {(k.riser, k.place): k for k in adjusted.heights if k.kind is Kind.BUILT}
    below = PointKey(Kind.POINT, name=foot or FOOT_NAME)
    if below in adjusted.heights:
        places.setdefault(FOOT, below)
    keys = list(places.values())
    heights = np.array([adjusted.heights[key].elevation_m for key in keys])
    covariance = np.array([[adjusted.covariance(one, two) for two in keys] for one in keys])
    profile = adjusted.profile
    doubts = tuple(f"observation {s.n} ({s.label})" for s in adjusted.suspects)
    zero = (profile.datum, profile.datum_elevation_m)
    return Built(tuple(places), heights, covariance, faces, *zero, digest, doubts)


def _beyond(survey: Survey, risers: int) -> Iterator[str]:
    """Risers the plan does not have; 0 is the walk below the first."""
    for seen in survey.observations:
        if seen.kind is Kind.BUILT and not seen.struck and not 0 <= (seen.riser or 0) <= risers:
            yield f"observation {seen.n} is of riser {seen.riser}: the layout has risers 1 to {risers}"
    for what, taped in (("face", survey.faces), ("tread", survey.treads)):
        for one in taped:
            if not one.struck and not 1 <= one.riser <= risers:
                yield f"{what} {one.n} is of riser {one.riser}: the layout has risers 1 to {risers}"
