"""A layout verified again from its numbers alone, apart from the search that found it.

Only what an option says of itself is used: stations, depths, faces, heights and areas must agree with each other, with
the brief and with the ground. The areas are summed piece by piece between all breaks and crossings.
"""

from collections.abc import Iterator
from itertools import pairwise

from logger.profile import Ground
from logger.steps.brief import Brief
from logger.steps.option import Option
from logger.steps.tables import Kind, Top

SAME_M = 1e-6
SAME_M2 = 1e-9


def mistakes(option: Option, brief: Brief, ground: Ground) -> list[str]:
    """Everything in a layout that does not hold; none where all is well."""
    return [*_counts(option, brief), *_depths(option, brief), *_heights(option, brief), *_areas(option, brief, ground)]


def _counts(option: Option, brief: Brief) -> Iterator[str]:
    depths = option.risers - (brief.steps.top is Top.GRADE)
    if len(option.depths_m) != depths or option.treads + len(option.landings) != depths:
        yield f"{option.risers} risers have {len(option.depths_m)} depths, of them {option.treads} treads"
    flights = []
    last = 0
    for after in [*(landing.after_riser for landing in option.landings), option.risers]:
        if after > last:
            flights.append(after - last)
        last = after
    if brief.steps.flight_risers and max(flights) > brief.steps.flight_risers:
        yield f"a flight of {max(flights)} risers"
    if min(flights) < brief.steps.flight_min:
        yield f"a flight of {min(flights)} risers only"


def _depths(option: Option, brief: Brief) -> Iterator[str]:
    stations, s = option.face_stations_m, brief.steps
    ends = [*stations, stations[-1] + option.depths_m[-1]] if len(option.depths_m) == option.risers else list(stations)
    for k, (a, b) in enumerate(pairwise(ends)):
        if abs(b - a - option.depths_m[k]) > SAME_M:
            yield f"depth {k + 1} is not what lies between its riser lines"
    if option.run_m is not None and abs(ends[-1] - ends[0] - option.run_m) > SAME_M:
        yield "the depths do not fill the run"
    landings = {landing.after_riser for landing in option.landings}
    for k, depth_m in enumerate(option.depths_m, 1):
        last = k == len(option.depths_m)
        if k in landings and depth_m < s.landing_m - SAME_M:
            yield f"the landing after riser {k} is too short"
        if k not in landings and abs(depth_m - option.tread_m) > SAME_M and not last:
            yield f"depth {k} is neither a tread nor a landing"
    for wish in brief.landing_at:
        at = [k for k, (a, b) in enumerate(pairwise(ends), 1) if a - SAME_M <= wish.station_m <= b + SAME_M]
        if not any(k in landings and option.depths_m[k - 1] >= (wish.depth_m or 0.0) - SAME_M for k in at):
            yield f"no landing lies at station {wish.station_m:.3f} m"
    for zone in brief.no_landing:
        if any(ends[k - 1] < zone.end_m - SAME_M and ends[k] > zone.begin_m + SAME_M for k in landings):
            yield f"a landing lies between {zone.begin_m:.3f} m and {zone.end_m:.3f} m"


def _heights(option: Option, brief: Brief) -> Iterator[str]:
    landings = {landing.after_riser for landing in option.landings}
    height_m = option.foot_m
    for k in range(1, option.risers + 1):
        height_m += option.faces_m[k - 1]
        if abs(height_m - option.tops_m[k - 1]) > SAME_M:
            yield f"the top of riser {k} does not follow from the one below it"
        if k <= len(option.depths_m):
            height_m += option.depths_m[k - 1] * (option.landing_fall if k in landings else option.fall)
    if option.rise_m is not None and abs(height_m - option.foot_m - option.rise_m) > SAME_M:
        yield "faces and falls do not add up to the rise"
    later = [face for k, face in enumerate(option.faces_m) if k > 0 and k not in landings]
    first = [face for k, face in enumerate(option.faces_m) if k == 0 or k in landings]
    if any(max(faces) - min(faces) > SAME_M for faces in (first, later) if faces):
        yield "faces that should be equal are not"
    if any(abs(face - option.face_m) > SAME_M for face in later):
        yield "face_m is not the face of the risers"
    if brief.unit.kind is not Kind.FREE:
        return
    lean_m = option.fall * option.tread_m if brief.steps.equal == "nosing" and later else 0.0
    if any(abs(face - option.face_m - lean_m) > SAME_M for face in first):
        yield "the first faces of flights are not what was asked for"


def _areas(option: Option, brief: Brief, ground: Ground) -> Iterator[str]:
    above = below = 0.0
    landings = {landing.after_riser for landing in option.landings}
    for k, depth_m in enumerate(option.depths_m, 1):
        begin = option.face_stations_m[k - 1]
        fall = option.landing_fall if k in landings else option.fall
        cuts = sorted({begin, begin + depth_m, *(float(x) for x in ground.stations_m if begin < x < begin + depth_m)})
        gaps = [ground.at(x) - option.tops_m[k - 1] - fall * (x - begin) for x in cuts]
        for (a, b), (u, v) in zip(pairwise(cuts), pairwise(gaps), strict=True):
            share = 1.0 if u * v >= 0 else abs(u) / (abs(u) + abs(v))
            for gap, width in ((u, share), (v, 1.0 if u * v >= 0 else 1.0 - share)):
                area = gap * width * (b - a) / 2
                above, below = above + max(area, 0.0), below + max(-area, 0.0)
    s = brief.steps
    if abs(above - option.ground_above_m2) > SAME_M2 or abs(below - option.ground_below_m2) > SAME_M2:
        yield f"the ground lies {above:.9f} m2 above and {below:.9f} m2 below, not as told"
    if abs(s.above_weight * above + s.below_weight * below - option.fit_m2) > SAME_M2:
        yield "fit_m2 is not the weighted sum of both areas"
