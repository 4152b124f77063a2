"""The ground a virtual instrument stands on: stations and elevations, linear between them."""

import csv
import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from drivers.errors import DriverError

COLUMNS = ("station_m", "elevation_m")


class GroundFileError(DriverError):
    """A ground file cannot be used; `mistakes` holds every one with its line."""

    def __init__(self, source: str, mistakes: list[str]) -> None:
        super().__init__(f"{source}: " + "; ".join(mistakes))
        self.mistakes = mistakes


@dataclass(frozen=True, slots=True)
class Ground:
    """A ground line, in metres, by rising station."""

    stations_m: tuple[float, ...]
    elevations_m: tuple[float, ...]

    @classmethod
    def through(cls, points: Sequence[tuple[float, float]]) -> "Ground":
        """The line through (station, elevation) points in any order."""
        stations, elevations = zip(*sorted(points), strict=True)
        return cls(stations, elevations)

    def elevation_m(self, station_m: float) -> float:
        """Elevation at a station; ValueError beyond the ends."""
        first, last = self.stations_m[0], self.stations_m[-1]
        if not first - 1e-9 <= station_m <= last + 1e-9:
            raise ValueError(f"the ground is known from {first:g} m to {last:g} m, not at {station_m:g} m")
        if len(self.stations_m) == 1:
            return self.elevations_m[0]
        right = min(max(bisect_right(self.stations_m, station_m), 1), len(self.stations_m) - 1)
        x0, x1 = self.stations_m[right - 1], self.stations_m[right]
        z0, z1 = self.elevations_m[right - 1], self.elevations_m[right]
        return z0 + (z1 - z0) * (station_m - x0) / (x1 - x0)


def read_ground(path: Path) -> Ground:
    """Read a CSV with at least `station_m,elevation_m`; GroundFileError lists every mistake with its line."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            return _ground(str(path), csv.DictReader(lines))
    except UnicodeDecodeError:
        raise GroundFileError(str(path), ["not a text file in UTF-8"]) from None
    except csv.Error as error:
        raise GroundFileError(str(path), [f"not CSV: {error}"]) from None
    except OSError as error:
        raise GroundFileError(str(path), [f"cannot be read: {error.strerror}"]) from None


def _ground(source: str, rows: "csv.DictReader[str]") -> Ground:
    missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        raise GroundFileError(source, [f"the first line must name the column {name}" for name in missing])
    points: list[tuple[float, float]] = []
    mistakes: list[str] = []
    for row in rows:
        numbers = []
        for name in COLUMNS:
            try:
                numbers.append(float(row[name] or ""))
            except ValueError:
                numbers.append(math.nan)
            if not math.isfinite(numbers[-1]):
                mistakes.append(f"line {rows.line_num}: {name} is {row[name]!r}, not a number")
        if all(map(math.isfinite, numbers)):
            if any(numbers[0] == x for x, _ in points):
                mistakes.append(f"line {rows.line_num}: station {numbers[0]:g} m stands there twice")
            points.append((numbers[0], numbers[1]))
    if not points and not mistakes:
        mistakes.append("no points in it")
    if mistakes:
        raise GroundFileError(source, mistakes)
    return Ground.through(points)
