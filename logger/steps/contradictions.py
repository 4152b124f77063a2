"""Fields of a brief that cannot stand together, each said at the place where it would be mended."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from drivers.lengths import show_length
from logger.steps.tables import Kind, Top

if TYPE_CHECKING:
    from logger.steps.brief import Tables

SAME_M = 1e-6
"""Lengths closer than this are the same."""

Found = Iterator[tuple[str, str]]


def contradictions(brief: "Tables", wrong: set[str]) -> Found:
    """Each contradiction as its place and a sentence; those that involve a place already wrong are left out."""
    for places, why in _all(brief):
        if not wrong & {p if "." in p else f"steps.{p}" for p in places}:
            first = places[0]
            yield (first if "." in first else f"steps.{first}"), why


def _all(brief: "Tables") -> Iterator[tuple[tuple[str, ...], str]]:
    yield from _depths(brief)
    yield from _heights(brief)
    yield from _unit(brief)
    yield from _landings(brief)


def _depths(brief: "Tables") -> Iterator[tuple[tuple[str, ...], str]]:
    s = brief.steps
    if s.landing_m <= s.tread_m + SAME_M:
        yield ("landing", "tread"), f"a landing must be deeper than a tread of {show_length(s.tread_m)}"
    if s.tread_max_m is not None and s.tread_max_m < s.tread_m - SAME_M:
        yield ("tread_max", "tread"), f"it is less than the tread of {show_length(s.tread_m)}"
    elif s.tread_max_m is not None and s.tread_max_m >= s.landing_m - SAME_M > s.tread_m:
        yield ("tread_max", "landing"), f"it must stay below the landing of {show_length(s.landing_m)}"
    if s.grid_m > s.tread_m + SAME_M:
        yield ("grid", "tread"), f"it is more than the tread of {show_length(s.tread_m)}"
    if s.grid_m < 0.0005:
        yield ("grid",), "nobody builds finer than half a millimetre"
    if s.last_tread_m is not None and s.top is Top.GRADE:
        yield ("last_tread", "top"), 'with top = "grade" no tread follows the last riser'
    if s.run_m is not None and s.last_tread_m is not None and s.last_tread_m >= s.run_m:
        yield ("last_tread", "run"), "it is as long as the whole run"
    if s.above_weight == 0 and s.below_weight == 0:
        yield ("above_weight", "below_weight"), "both weights are zero: nothing would tell one layout from another"


def _heights(brief: "Tables") -> Iterator[tuple[tuple[str, ...], str]]:
    s = brief.steps
    if s.riser_min_m is not None and s.riser_max_m is not None and s.riser_min_m > s.riser_max_m:
        yield ("riser_min", "riser_max"), f"it is more than riser_max, {show_length(s.riser_max_m)}"
    if s.rise_m is not None and s.rise_m <= 0:
        yield ("rise",), "it must be more than nothing: the foot is the lower end"
    if s.head and s.rise_m is not None:
        yield ("head", "rise"), "the named point gives the rise; leave one of the two out"
    if s.foot and abs(s.bottom_m) > SAME_M:
        yield ("foot", "bottom"), "the named point gives the bottom grade; leave one of the two out"
    if s.flight_risers and s.flight_min > s.flight_risers:
        yield ("flight_min", "flight_risers"), f"it is more than flight_risers, {s.flight_risers}"


def _unit(brief: "Tables") -> Iterator[tuple[tuple[str, ...], str]]:
    from logger.steps.brief import tread_of_unit

    s, unit = brief.steps, brief.unit
    if (tread := tread_of_unit(unit)) is not None and abs(tread - s.tread_m) > SAME_M:
        places = ("tread", "unit.depth", "unit.overhang", "unit.overlap", "unit.joint", "unit.deep")
        yield places, f"the unit gives {show_length(tread)}: its depth less overhang and overlap"
    if unit.kind is not Kind.FREE and unit.height_m is None:
        yield ("unit.height", "unit.kind"), f'is required with kind = "{unit.kind}"'
    if unit.kind is Kind.COURSES and unit.cap_m is None:
        yield ("unit.cap", "unit.kind"), 'is required with kind = "courses" (0 where there is none)'
    if unit.height_m is not None and unit.height_tolerance_m >= unit.height_m:
        yield ("unit.height_tolerance", "unit.height"), "it is as much as the height"
    if unit.kind is Kind.WHOLE and unit.height_m is not None and unit.bury_m >= unit.height_m:
        yield ("unit.bury", "unit.height"), "it would bury the whole unit"
    if unit.joint_max_m is not None and unit.joint_max_m < unit.joint_m:
        yield ("unit.joint_max", "unit.joint"), "it is less than the joint"
    if unit.fall_min is not None and unit.fall_min > s.fall:
        yield ("unit.fall_min", "fall"), "it is more than the fall"
    if unit.fall_max is not None and unit.fall_max < s.fall:
        yield ("unit.fall_max", "fall"), "it is less than the fall"


def _landings(brief: "Tables") -> Iterator[tuple[tuple[str, ...], str]]:
    for i, zone in enumerate(brief.no_landing):
        if zone.end_m <= zone.begin_m:
            yield (f"no_landing.{i}.to",), "it lies before from"
        for at in brief.landing_at:
            if zone.begin_m < at.station_m < zone.end_m:
                yield (f"no_landing.{i}.from", "landing_at"), f"a landing is wanted at {show_length(at.station_m)}"
