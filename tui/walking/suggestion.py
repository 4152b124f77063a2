"""What the take key does next, worked out from the field book alone: nothing is half done after a restart."""

from collections.abc import Sequence
from dataclasses import dataclass

from drivers.lengths import FOOT_M, Units
from tui.walking.distances import distance
from tui.walking.standing import Row, Standing

FIRST_SPACING_M = {
    Units.FEET_INCHES: 2 * FOOT_M,
    Units.FEET: 2 * FOOT_M,
    Units.METRES: 0.5,
    Units.MILLIMETRES: 0.5,
}
"""Spacing suggested before there is one to follow (common practice at the scale of a tread)."""
SAME_M = 0.0005


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The line the take key sends, in words, and what to do with hands first; `tag` is whether it takes a reading."""

    command: str
    words: str
    do: str = ""
    tag: bool = True
    station_m: float | None = None


def suggestion(standing: Standing, rows: Sequence[Row], units: Units, *, moved_on: bool = False) -> Suggestion:
    """The next tag. `moved_on`: the person chose not to move the reference end after a turning point."""
    kept = [r for r in rows if not r.struck]
    if standing.needs_zero:
        return _known_mark(standing, kept)
    if not moved_on and kept and (name := _first_sight(kept)):
        do = f"Move the reference end; leave {name} untouched."
        return Suggestion("setup", "the reference end is moved", do, tag=False)
    return station_at(next_station_m(kept, standing.surface, units), units)


def station_at(station_m: float, units: Units) -> Suggestion:
    """The tag of a station."""
    words = f"station {distance(station_m, units)}"
    return Suggestion(words, words, station_m=station_m)


def turning_point(rows: Sequence[Row]) -> Suggestion:
    """First step of moving the reference end: a turning point with the next free name."""
    names = {r.name for r in rows}
    name = next(n for i in range(1, len(rows) + 2) if (n := f"TP{i}") not in names)
    do = "Probe on a firm point that both places reach."
    return Suggestion(f"turn {name}", f"turning point {name}", do)


def zero_check(standing: Standing, rows: Sequence[Row]) -> Suggestion:
    """The benchmark again."""
    marks = [r.name for r in rows if r.kind == "benchmark" and not r.struck]
    name = standing.zero.name if standing.zero and standing.zero.name in marks else marks[-1] if marks else "BM"
    return Suggestion(f"benchmark {_quoted(name)}", f"zero on {name}", f"Probe on {name}.")


def _known_mark(standing: Standing, kept: Sequence[Row]) -> Suggestion:
    """After a move the turning point; after a gap of the line what was sighted last from where the end stands now."""
    here = [r for r in kept if r.setup == standing.setup and r.kind in ("benchmark", "turn")]
    if here and here[-1].kind == "benchmark":
        return zero_check(standing, kept)
    turns = [r for r in kept if r.kind == "turn" and r.setup < standing.setup]
    if turns and turns[-1].setup == standing.setup - 1:
        name = turns[-1].name
        return Suggestion(f"turn {name}", f"turning point {name} again", f"Probe back on {name}.")
    return zero_check(standing, kept)


def _first_sight(kept: Sequence[Row]) -> str:
    last = kept[-1]
    seen_before = any(r.name == last.name and r.kind == "turn" for r in kept[:-1])
    return last.name if last.kind == "turn" and not seen_before else ""


def next_station_m(kept: Sequence[Row], surface: str, units: Units) -> float:
    """The last station of this surface plus the spacing before it; 0 for the first."""
    stations = [r.station_m for r in kept if r.station_m is not None and r.surface == surface]
    if not stations:
        return 0.0
    for before, after in zip(stations[-2::-1], stations[:0:-1], strict=True):
        if abs(after - before) > SAME_M:
            return stations[-1] + (after - before)
    return stations[-1] + FIRST_SPACING_M[units]


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name
