"""What the uncertainty of the ground does to a layout: the last riser takes up what the rise was measured wrong by.

The rise is a difference of two heights, so errors common to both cancel through their covariance. Built to the heights
of the plan, every riser but the last is as designed; heights are taken as normally distributed (JCGM 100).
"""

import math
from itertools import pairwise

import numpy as np

from logger.profile import Floats, Profile
from logger.steps.brief import Brief
from logger.steps.option import Certainty, Option
from logger.steps.problem import SAME_M
from logger.steps.rulebook import Measure
from logger.steps.site import Site

EVENNESS_M = 0.375 * 0.0254
"""Largest less smallest riser in a flight where no named set says; 3/8 in, common practice."""


def rise_u_m(site: Site, brief: Brief) -> float:
    """Standard uncertainty of the total rise; zero where it was told or the ground assumed."""
    profile, s = site.profile, brief.steps
    if profile.estimate_only or (s.rise_m is not None and not s.head):
        return 0.0
    line = [i for i, point in enumerate(profile.points) if point.offset_m == 0.0]
    named = {point.name: len(profile.points) + i for i, point in enumerate(profile.named)}
    weights = np.zeros(len(profile.points) + len(profile.named))
    for name, station_m, sign in ((s.head, site.start_m + site.run_m, 1.0), (s.foot, site.start_m, -1.0)):
        if name:
            weights[named[name]] += sign
        else:
            weights[line] += sign * _share(profile, line, station_m)
    return math.sqrt(max(0.0, float(weights @ _covariance(profile) @ weights)))


def _share(profile: Profile, line: list[int], station_m: float) -> Floats:
    """How much each point of the centre line counts at a station."""
    stations = [profile.points[i].station_m for i in line]
    return np.array([np.interp(station_m, stations, row) for row in np.eye(len(line))])


def _covariance(profile: Profile) -> Floats:
    if profile.covariance_m2 is not None:
        return profile.covariance_m2
    return np.diag([u_m**2 for u_m in (*(p.u_m for p in profile.points), *(n.u_m for n in profile.named))])


def certainty(option: Option, u_m: float, brief: Brief) -> Certainty:
    """The chances of one layout."""
    limits = [
        rule.most_value
        for rules in brief.rule_sets
        for rule in rules.rules
        if rule.measures is Measure.EVENNESS and rule.most_value is not None
    ]
    limit_m = min(limits, default=EVENNESS_M)
    return Certainty(
        u_rise_m=u_m,
        u_face_m=u_m / option.risers,
        even_within_m=limit_m,
        even_chance=_even_chance(_last_flight_m(option), limit_m, u_m),
    )


def _last_flight_m(option: Option) -> list[float]:
    """What is climbed at each riser of the last flight: the face first, then nosing to nosing."""
    first = max((landing.after_riser for landing in option.landings if landing.after_riser < option.risers), default=0)
    tops = option.tops_m[first:]
    return [option.faces_m[first], *(above - below for below, above in pairwise(tops))]


def _even_chance(climbs_m: list[float], limit_m: float, u_m: float) -> float:
    """The chance that a flight stays even within the limit when its last climb is wrong by a normal error."""
    *others, last = climbs_m
    if not others:
        return 1.0
    low_m, high_m = max(others) - limit_m - last, min(others) + limit_m - last
    if max(others) - min(others) > limit_m + SAME_M:
        return 0.0
    if u_m == 0:
        return float(low_m <= SAME_M and high_m >= -SAME_M)
    return (math.erf(high_m / (u_m * math.sqrt(2))) - math.erf(low_m / (u_m * math.sqrt(2)))) / 2


def flip_m(options: tuple[Option, ...], brief: Brief, ease_m: float) -> float | None:
    """The least error of the rise by which another count would come first, judged by the heights alone."""
    if len(options) < 2:
        return None
    best = options[0]

    def off(option: Option, more_m: float) -> tuple[float, float]:
        rise_m = option.nosing_rise_m + more_m / option.risers
        wanted_m = brief.steps.riser_m
        step = abs(2 * rise_m + option.tread_m - ease_m)
        return (0.0 if wanted_m is None else abs(rise_m - wanted_m), step)

    reach_m = max(option.nosing_rise_m for option in options)
    for more_m in np.linspace(0.0, reach_m, 1 + round(reach_m / 0.0005)):
        for signed_m in (float(more_m), -float(more_m)):
            mine = off(best, signed_m)
            if any(off(option, signed_m) < mine for option in options[1:] if _comparable(option, best)):
                return signed_m
    return None


def _comparable(option: Option, best: Option) -> bool:
    """Whether only heights keep the option from first place."""

    def failed(one: Option) -> bool:
        return any(finding.status == "fail" for finding in one.findings)

    return failed(option) == failed(best)
