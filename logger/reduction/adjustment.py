"""One least-squares adjustment of everything observed: the survey in, heights with their uncertainty out.

Single setups, setups joined by turning points, double runs, loops and open runs are all this one computation.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from logger.errors import Refused
from logger.observation import Kind, Observation, Surface, Survey
from logger.profile import NamedPoint, Profile
from logger.reduction.closure import Approximate, Closure, Tolerance, closure_of_all, closures, in_order
from logger.reduction.distributions import chi_squared_quantile
from logger.reduction.ground import ground_points, profile_notes
from logger.reduction.network import Network, build
from logger.reduction.points import Height, Point, PointKey, gather
from logger.reduction.sightings import HOUR_S
from logger.reduction.solution import Solution, Spread, solve

PRIOR_FREEDOM = 25.0
"""How much the stated uncertainties weigh against the residuals, in observations, before residuals may widen them."""
FULL_COVARIANCE = 1000


@dataclass(frozen=True, slots=True)
class Residual:
    """Observed less adjusted, and that over what it could have been (0 where nothing checks the observation)."""

    n: int
    residual_m: float
    w: float
    suspect: bool
    label: str = ""


@dataclass(frozen=True, slots=True)
class Suspect:
    """An observation to distrust, and what striking it would change: the height that would move most, and how far."""

    n: int
    label: str
    moved: str
    moved_m: float


@dataclass(frozen=True, slots=True)
class Adjustment:
    """The result. `heights` holds every determined point by its key, `covariance` gives theirs two by two.

    `sigma0` is the root of the variance factor, None without redundancy; `drift_m_per_h` the mean rate of each setup.
    `undetermined` names points nothing ties to a known height; `closures` are those of all setups, `closure` the one
    that speaks for the walk.
    """

    profile: Profile
    heights: Mapping[PointKey, Height]
    residuals: tuple[Residual, ...]
    closure: Closure
    redundancy: int
    sigma0: float | None
    drift_m_per_h: tuple[float, ...]
    undetermined: tuple[str, ...]
    spread: Spread
    order: Mapping[PointKey, int]
    suspects: tuple[Suspect, ...] = ()
    closures: tuple[Closure, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether the residuals are as small as the stated uncertainties promise: chi-squared at 95 %."""
        if self.sigma0 is None:
            return True
        return self.sigma0**2 * self.redundancy <= chi_squared_quantile(0.95, self.redundancy)

    @property
    def named(self) -> tuple[NamedPoint, ...]:
        """Marks observed by name, in the order first observed."""
        return self.profile.named

    def covariance(self, one: PointKey, other: PointKey) -> float:
        """Covariance of two adjusted heights, m2; KeyError for a point that was not determined."""
        return self.spread.covariance(self.order[one], self.order[other])

    def difference_u_m(self, one: PointKey, other: PointKey) -> float:
        """Standard uncertainty of the difference of two heights: what both share cancels."""
        variance = self.covariance(one, one) + self.covariance(other, other) - 2.0 * self.covariance(one, other)
        return math.sqrt(max(variance, 0.0))


def adjust(
    survey: Survey, *, surface: Surface = Surface.GROUND, tolerance: Tolerance | float | None = None
) -> Adjustment:
    """Adjust a survey; the profile is that of `surface`, a bare number as tolerance is the user's own limit in metres.

    Struck observations are left out. Raises Refused `needs_zero` where no known height was observed.
    """
    limit = Tolerance(own_m=tolerance) if isinstance(tolerance, int | float) else tolerance or Tolerance()
    result = _adjusted(survey, surface, limit)
    doubted = [r for r in result.residuals if r.suspect][:MOST_SUSPECTS]
    return replace(result, suspects=tuple(_without(survey, result, r) for r in doubted)) if doubted else result


def _without(survey: Survey, result: Adjustment, doubted: Residual) -> Suspect:
    """What striking one observation would do to the heights that remain."""
    left = tuple(replace(o, struck=True) if o.n == doubted.n else o for o in survey.observations)
    try:
        other = _adjusted(replace(survey, observations=left), Surface.GROUND, Tolerance()).heights
    except Refused:
        return Suspect(doubted.n, doubted.label, "", 0.0)
    both = [
        (other[key].elevation_m - height.elevation_m, key.label)
        for key, height in result.heights.items()
        if key in other
    ]
    moved_m, moved = max(both, key=lambda pair: abs(pair[0]))
    return Suspect(doubted.n, doubted.label, moved, moved_m)


def _adjusted(survey: Survey, surface: Surface, limit: Tolerance) -> Adjustment:
    taken = tuple(o for o in survey.observations if not o.struck)
    seen, points, undetermined = _determined(taken)
    book = in_order(seen, points)
    network = build(seen, points, book, survey.instrument)
    solution = solve(network, points)
    freedom = _redundancy(points, len(seen), len(network.setups))
    factor = max((PRIOR_FREEDOM + solution.quadratic) / (PRIOR_FREEDOM + freedom), 1.0) if freedom > 0 else 1.0
    spread = replace(solution.spread, factor=factor)
    heights = _heights(points, book, solution, spread)
    closing = closures(seen, points, book, limit)
    return Adjustment(
        profile=_profile(survey, (points, heights, spread), surface, _undetermined(undetermined)),
        heights={h.key: h for h in heights},
        residuals=_weighed(seen, points, solution),
        closure=closure_of_all(closing, limit, seen),
        closures=closing,
        redundancy=freedom,
        sigma0=math.sqrt(solution.quadratic / freedom) if freedom > 0 else None,
        drift_m_per_h=_drifts(network, solution),
        undetermined=undetermined,
        spread=spread,
        order={p.key: i for i, p in enumerate(points)},
    )


def _determined(taken: Sequence[Observation]) -> tuple[list[Observation], list[Point], tuple[str, ...]]:
    """What a known height reaches through setups, and the names of the points it does not."""
    points = gather(taken)
    if not any(p.known_m is not None for p in points):
        raise Refused("needs_zero", "no benchmark was observed: nothing can be given a height")
    book = in_order(taken, points)
    seen = [o for o in taken if o.setup in book.offsets_m]
    lost = tuple(p.key.label for p, h in zip(points, book.heights_m, strict=True) if h is None)
    return (seen, gather(seen), lost) if len(seen) < len(taken) else (seen, points, lost)


def _undetermined(labels: Sequence[str]) -> tuple[str, ...]:
    if not labels:
        return ()
    return (f"no height for {', '.join(labels)}: nothing observed in that setup has a known height",)


def _redundancy(points: Sequence[Point], observations: int, setups: int) -> int:
    unknown = sum(not p.fixed for p in points)
    given = sum(p.known_m is not None and not p.fixed for p in points)
    return observations + given - unknown - setups


def _heights(points: Sequence[Point], book: Approximate, solution: Solution, spread: Spread) -> list[Height]:
    found = []
    for p, point in enumerate(points):
        about = book.heights_m[p]
        assert about is not None
        u_m = math.sqrt(max(spread.covariance(p, p), 0.0))
        found.append(Height(point.key, about + float(solution.heights[p]), u_m, len(point.seen)))
    return found


MOST_SUSPECTS = 3
SUSPECT_W = 3.29
"""Beyond this a residual is one in a thousand, if all is well (normal distribution); many need a wider limit."""


def _weighed(seen: Sequence[Observation], points: Sequence[Point], solution: Solution) -> tuple[Residual, ...]:
    label = {i: p.key.label for p in points for i in p.seen}
    checked = solution.free > 1e-9 * np.array([max(o.u_m, 1e-6) for o in seen]) ** 2
    w = np.where(checked, solution.residuals / np.sqrt(np.where(checked, solution.free, 1.0)), 0.0)
    worst = float(np.abs(w).max(initial=0.0))
    limit = max(SUSPECT_W, NormalDist().inv_cdf(1.0 - 0.025 / len(seen)))
    suspect = (np.abs(w) > limit) & (np.abs(w) > worst * (1.0 - 1e-6))
    return tuple(
        Residual(o.n, float(solution.residuals[i]), float(w[i]), bool(suspect[i]), label[i]) for i, o in enumerate(seen)
    )


def _drifts(network: Network, solution: Solution) -> tuple[float, ...]:
    rates = []
    for start, drift in zip(network.first_node, network.drifts, strict=True):
        hours = (drift.times_s[-1] - drift.times_s[0]) / HOUR_S
        moved = solution.parameters[start + len(drift.times_s) - 1] - solution.parameters[start]
        rates.append(float(moved / hours) if hours > 0.0 else 0.0)
    return tuple(rates)


def _profile(
    survey: Survey, found: tuple[Sequence[Point], Sequence[Height], Spread], surface: Surface, notes: tuple[str, ...]
) -> Profile:
    points, heights, spread = found
    datum = next(p for p in points if p.known_m is not None)
    ground, which, trouble = ground_points(heights, spread, survey.tape, surface)
    by_name = [i for i, h in enumerate(heights) if h.key.kind is Kind.POINT]
    named = tuple(NamedPoint(heights[i].key.name, heights[i].elevation_m, heights[i].u_m) for i in by_name)
    which += by_name
    return Profile(
        points=ground,
        named=named,
        datum=datum.key.name,
        datum_elevation_m=datum.known_m or 0.0,
        covariance_m2=spread.matrix(which) if len(which) <= FULL_COVARIANCE else None,
        source=survey.job,
        digest=survey.session_digest,
        by_air=survey.instrument.by_air,
        tape=survey.tape,
        notes=(*notes, *trouble, *profile_notes(survey, points)),
    )
