"""The ground left and right of the line: what stands above the steps, what falls away, and how the foot meets it."""

from collections.abc import Iterator
from dataclasses import dataclass

from logger.profile import ProfilePoint
from logger.steps.brief import Brief
from logger.steps.layout import Layout
from logger.steps.measured import drops_beside_m
from logger.steps.option import Finding, Verdict
from logger.steps.problem import SAME_M
from logger.steps.site import Site
from logger.steps.words import Words

SLOPING_WALK = 1 / 12
"""Rise of a sloping walk along the width of a riser that the codes allow (IBC 1011.5.4.1, NBC 9.8.4.4)."""


@dataclass(frozen=True, slots=True)
class Sides:
    """Ground beside the steps: the most it stands above them and below them, and the first face at each edge.

    `complete` says that both sides were observed along the whole run.
    """

    bank_m: float | None = None
    drop_m: float | None = None
    complete: bool = False
    foot_faces_m: tuple[float, float, float] | None = None
    width_m: float | None = None

    def foot_notes(self, words: Words) -> Iterator[Finding]:
        """How the first riser meets ground that falls across."""
        if self.foot_faces_m is None:
            return
        left, centre, right = self.foot_faces_m
        shown = f"{words.small(left)} left, {words.small(centre)} in the middle, {words.small(right)} right"
        spread = max(self.foot_faces_m) - min(self.foot_faces_m)
        if spread <= SAME_M:
            return
        limit = None if self.width_m is None else self.width_m * SLOPING_WALK
        status = Verdict.WARN if limit is None or spread > limit else Verdict.NOTE
        text = f"the first face is {shown}: level the ground at the foot or lay a firm apron"
        yield Finding("foot_across", "", status, spread, limit, text)


def sides_of(layout: Layout, site: Site, brief: Brief) -> Sides:
    """What was observed beside the line, measured against a layout."""
    width_m = brief.steps.width_m
    left = _line(site, -1.0, width_m)
    right = _line(site, 1.0, width_m)
    lines = [line for line in (left, right) if len(line) > 1]
    if not lines:
        return Sides(width_m=width_m)
    measured = [drops_beside_m(layout, line) for line in lines]
    covers = [line[0][0] <= SAME_M and line[-1][0] >= site.run_m - SAME_M for line in lines]
    return Sides(
        bank_m=max(above for above, _ in measured),
        drop_m=max(below for _, below in measured),
        complete=len(lines) == 2 and all(covers),
        foot_faces_m=_foot(layout, left, right) if len(lines) == 2 and all(c for c in covers) else None,
        width_m=width_m,
    )


def _line(site: Site, sign: float, width_m: float | None) -> list[tuple[float, float]]:
    """One side's ground, stations from the foot: of several points at a station, the one nearest the edge."""
    edge_m = (width_m or 0.0) / 2
    nearest: dict[float, ProfilePoint] = {}
    for point in site.profile.points:
        if point.offset_m * sign > 0:
            before = nearest.get(point.station_m)
            if before is None or abs(abs(point.offset_m) - edge_m) < abs(abs(before.offset_m) - edge_m):
                nearest[point.station_m] = point
    return [(x - site.start_m, nearest[x].elevation_m) for x in sorted(nearest)]


def _foot(
    layout: Layout, left: list[tuple[float, float]], right: list[tuple[float, float]]
) -> tuple[float, float, float]:
    import numpy as np

    top_m = layout.tops_m[0]
    sides = [float(np.interp(0.0, [x for x, _ in line], [z for _, z in line])) for line in (left, right)]
    return top_m - sides[0], layout.faces_m[0], top_m - sides[1]
