"""Points to draw and words to say about the ground observed and the best steps so far."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from drivers.lengths import Units, show_length
from tui.walking.best import Best
from tui.walking.standing import Row

if TYPE_CHECKING:
    from logger.steps.option import Option

Point = tuple[float, float]


def ground_points(rows: Sequence[Row], surface: str = "ground") -> list[Point]:
    """The centre line as observed, not yet adjusted: the mean of what was observed at each station."""
    found: dict[float, list[float]] = {}
    for row in rows:
        if row.station_m is not None and not row.struck and not row.offset_m and row.surface == surface:
            found.setdefault(row.station_m, []).append(row.above_zero_m)
    return [(station, sum(heights) / len(heights)) for station, heights in sorted(found.items())]


def chosen(best: Best | None) -> "Option | None":
    """The layout a best answer proposes."""
    if best is None or best.options is None or not best.options.options:
        return None
    return best.options.options[best.options.chosen]


def step_line(best: Best | None, option: "Option | None" = None) -> list[Point]:
    """The finished surface as a polyline, from the foot over every face and tread; heights above the zero."""
    option = option or chosen(best)
    if option is None or best is None or best.profile is None:
        return []
    zero_m = best.profile.datum_elevation_m
    landings = {landing.after_riser for landing in option.landings}
    line = [(option.face_stations_m[0], option.foot_m - zero_m)]
    for k, (station, top) in enumerate(zip(option.face_stations_m, option.tops_m, strict=True), 1):
        line.append((station, top - zero_m))
        if k <= len(option.depths_m):
            depth = option.depths_m[k - 1]
            fall = option.landing_fall if k in landings else option.fall
            line.append((station + depth, top - zero_m + fall * depth))
    return line


def counts(option: "Option") -> str:
    """`12 risers, 10 treads, 2 landings`: the words used everywhere."""
    landings = len(option.landings)
    return ", ".join(
        f"{n} {word}{'' if n == 1 else 's'}"
        for n, word in ((option.risers, "riser"), (option.treads, "tread"), (landings, "landing"))
        if n or word != "landing"
    )


def best_in_words(best: Best, units: Units) -> str:
    """The best layout so far in one line, or why there is none."""
    option = chosen(best)
    if option is not None:
        return f"{counts(option)}, faces {show_length(option.face_m, units)}"
    if best.trouble:
        return f"no steps yet: {best.trouble}"
    refused = best.options.refused if best.options else ()
    why = refused[0].causes[0].text if refused and refused[0].causes else "nothing fits"
    return f"no steps yet: {why}"
