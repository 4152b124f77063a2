"""Points to draw of the ground observed so far."""

from collections.abc import Sequence

from tui.walking.standing import Row

Point = tuple[float, float]


def ground_points(rows: Sequence[Row], surface: str = "ground") -> list[Point]:
    """The centre line as observed, not yet adjusted: the mean of what was observed at each station."""
    found: dict[float, list[float]] = {}
    for row in rows:
        if row.station_m is not None and not row.struck and not row.offset_m and row.surface == surface:
            found.setdefault(row.station_m, []).append(row.above_zero_m)
    return [(station, sum(heights) / len(heights)) for station, heights in sorted(found.items())]
