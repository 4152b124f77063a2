"""Questions before a tag that looks like a slip, and reminders while walking; all figures are common practice."""

from collections.abc import Sequence
from itertools import pairwise

from drivers.lengths import Units
from tui.walking.distances import distance, height
from tui.walking.standing import Live, Row, Standing

SAME_M = 0.0005
STEEP = 1.5
"""Rise over run of ground on which steps are still walked up (about 56 degrees)."""
CLEAR_M = 0.15
"""Height differences below this are a bump, whatever the distance."""
FAR = 4.0
"""A gap this many spacings long leaves ground out."""
ZERO_MIN = 30
ZERO_C = 5.0
REACH_PART = 0.85
CHECKS = (
    "Hose filled and bled: no bubble in it.",
    "No kink, nobody standing on it.",
    "Hose and instrument out of the sun.",
    "Both ends side by side: do they agree?",
    "The first mark (BM) stands outside the dig.",
)
"""What is looked at before the first reading."""


def doubt(station_m: float, live: Live | None, rows: Sequence[Row], *, surface: str, units: Units) -> str:
    """One question about a station to be tagged, or nothing where it looks right."""
    kept = [r for r in rows if not r.struck and r.station_m is not None and r.surface == surface and not r.offset_m]
    if not kept:
        return ""
    here = distance(station_m, units)
    for row in kept:
        if row.station_m is not None and abs(row.station_m - station_m) <= SAME_M:
            return f"{here} is in the book already (no. {row.n}). Observe it again?"
    stations = [float(r.station_m or 0.0) for r in kept]
    last = kept[-1]
    if station_m < stations[-1] and len(stations) > 1 and stations[-1] > stations[-2]:
        return f"{here} lies back from the last, {distance(stations[-1], units)}. Really there?"
    gaps = sorted(abs(b - a) for a, b in pairwise(stations))
    gap = abs(station_m - stations[-1])
    if gaps and gap > FAR * max(gaps[len(gaps) // 2], 0.3):
        return f"{distance(gap, units)} from the last leaves ground out. Really there?"
    if live is not None and live.above_zero_m is not None:
        climb = live.above_zero_m - last.above_zero_m
        if abs(climb) > CLEAR_M and abs(climb) > STEEP * gap:
            return f"{height(climb, units)} over {distance(gap, units)} is a wall. Right place, right number?"
    return ""


def warnings(standing: Standing, live: Live | None, rows: Sequence[Row], units: Units) -> list[str]:
    """What to mind now, the most pressing first: saving, the zero, the reach of the instrument."""
    found = []
    if not standing.saved:
        found.append(f"NOT SAVED: {standing.message}")
    elif standing.moved:
        found.append(f"FILE MOVED, saved in: {standing.session}")
    if standing.zero is not None:
        found += _zero_worn(standing, live, rows)
        found += _reach(standing, live, rows, units)
    return found


def _zero_worn(standing: Standing, live: Live | None, rows: Sequence[Row]) -> list[str]:
    zero = standing.zero
    if zero is None:
        return []
    if zero.age_s > ZERO_MIN * 60:
        return [f"Check the zero: {zero.age_s / 60:.0f} min since {zero.name}"]
    then_c = next((r.temperature_c for r in reversed(rows) if r.name == zero.name and not r.struck), None)
    if live and live.temperature_c is not None and then_c is not None:
        change = live.temperature_c - then_c
        if abs(change) > ZERO_C:
            return [f"Check the zero: {change:+.0f} °C since {zero.name}"]
    return []


def _reach(standing: Standing, live: Live | None, rows: Sequence[Row], units: Units) -> list[str]:
    spans = [r for r in rows if not r.struck and r.setup == standing.setup and not r.taped]
    if (reach := standing.reach_height_m) and live is not None:
        heights = [live.height_m, *(r.height_m for r in spans)]
        if (span := max(heights) - min(heights)) > REACH_PART * reach:
            return [_used(span, reach, units)]
    stations = [r.station_m for r in spans if r.station_m is not None]
    if (far := standing.reach_distance_m) and stations:
        span = max(stations) - min(stations)
        if span > REACH_PART * far:
            return [_used(span, far, units)]
    return []


def _used(span_m: float, reach_m: float, units: Units) -> str:
    used = f"Reach: {distance(span_m, units)} of {distance(reach_m, units)} used"
    return f"{used}; turning point soon" if span_m <= reach_m else f"{used}: TOO FAR; set a turning point before this"
