"""The ground along the line of the steps: what the adjustment yields and every later stage reads."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from logger.observation import Tape

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ProfilePoint:
    """One ground point: horizontal station, offset (right positive), elevation above the datum, its uncertainty.

    `station_u_m` is what the uncertainty of the heights does to the station where the tape was not level.
    """

    station_m: float
    offset_m: float
    elevation_m: float
    u_m: float
    observations: int = 1
    station_u_m: float = 0.0


@dataclass(frozen=True, slots=True)
class NamedPoint:
    """A point observed by name (turning point, patio, sill): elevation and standard uncertainty in metres."""

    name: str
    elevation_m: float
    u_m: float


@dataclass(frozen=True, slots=True)
class Ground:
    """The centre line as a polyline: stations in metres strictly increasing, elevations, both of shape (n,)."""

    stations_m: Floats
    elevations_m: Floats

    def at(self, station_m: float) -> float:
        """Elevation at a station, linear between points and level beyond the ends."""
        return float(np.interp(station_m, self.stations_m, self.elevations_m))


@dataclass(frozen=True, slots=True)
class Profile:
    """The ground with its uncertainty.

    `points` are sorted by station, then offset; `covariance_m2` is that of the elevations of all points and then of
    all that are named, in their order, or None where only `u_m` is known. `estimate_only` marks ground that was
    assumed, not observed: no set-out or digging may come from it. `by_air` marks heights told by the pressure of the
    air, never good for steps. `tape` is how the walk held its tape, so that marks can be measured the same way. Between
    the stations `dug_m` the ground is not as it was walked: it has been dug since.
    """

    points: tuple[ProfilePoint, ...]
    named: tuple[NamedPoint, ...] = ()
    datum: str = "BM"
    datum_elevation_m: float = 0.0
    covariance_m2: Floats | None = None
    estimate_only: bool = False
    by_air: bool = False
    source: str = ""
    digest: str = ""
    tape: Tape = Tape.LEVEL
    dug_m: tuple[float, float] | None = None
    notes: tuple[str, ...] = field(default=())

    def ground(self) -> Ground:
        """The centre line (offset zero) as a polyline."""
        line = [p for p in self.points if p.offset_m == 0.0]
        return Ground(np.array([p.station_m for p in line]), np.array([p.elevation_m for p in line]))
