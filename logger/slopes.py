"""What the profile says at a glance: slope between stations, where it is steepest, where another reading would help."""

from dataclasses import dataclass
from itertools import groupby, pairwise

from logger.profile import Profile, ProfilePoint


@dataclass(frozen=True, slots=True)
class Stretch:
    """The ground between two neighbouring stations of the centre line; slope as rise over run."""

    from_m: float
    to_m: float
    slope: float


@dataclass(frozen=True, slots=True)
class OneMore:
    """Where one more reading would help the steps most; `u_m` is the uncertainty of the ground there now.

    `again` tells a station to observe again from one not observed yet.
    """

    station_m: float
    u_m: float
    again: bool


@dataclass(frozen=True, slots=True)
class CrossFall:
    """The ground across the line at a station, as rise over run towards the right, with its standard uncertainty."""

    station_m: float
    slope: float
    u: float


def cross_falls(profile: Profile) -> tuple[CrossFall, ...]:
    """Cross fall wherever points beside the line were observed, between the outermost; what both share cancels."""
    found = []
    for _, group in groupby(enumerate(profile.points), key=lambda one: round(one[1].station_m, 6)):
        across = list(group)
        (i, left), (j, right) = across[0], across[-1]
        width_m = right.offset_m - left.offset_m
        if width_m > 0.0:
            variance = left.u_m**2 + right.u_m**2
            if profile.covariance_m2 is not None:
                variance -= 2.0 * float(profile.covariance_m2[i, j])
            slope = (right.elevation_m - left.elevation_m) / width_m
            found.append(CrossFall(left.station_m, slope, max(variance, 0.0) ** 0.5 / width_m))
    return tuple(found)


def stretches(profile: Profile) -> tuple[Stretch, ...]:
    """The slope from each station of the centre line to the next."""
    return tuple(
        Stretch(a.station_m, b.station_m, (b.elevation_m - a.elevation_m) / (b.station_m - a.station_m))
        for a, b in pairwise(_centre(profile))
        if b.station_m > a.station_m
    )


def steepest(profile: Profile) -> Stretch | None:
    """The stretch with most rise or fall for its length, the first of equals; None for fewer than two stations."""
    return max(stretches(profile), key=lambda s: abs(s.slope), default=None)


def flattest(profile: Profile) -> Stretch | None:
    """The stretch nearest to level, the first of equals; None for fewer than two stations."""
    return min(stretches(profile), key=lambda s: abs(s.slope), default=None)


def one_more(profile: Profile) -> OneMore | None:
    """The reading that would take most uncertainty off the area under the ground; None for fewer than two stations.

    Between stations the ground may bow off the straight line as much as it bends at them: bend times length squared
    over eight, taken as a 95 % limit. A station observed again loses its uncertainty by the root of two.
    """
    line = _centre(profile)
    parts = stretches(profile)
    if not parts or len(parts) != len(line) - 1:
        return None
    lengths = [s.to_m - s.from_m for s in parts]
    bends = [
        abs(b.slope - a.slope) / ((m + n) / 2)
        for (a, b), (m, n) in zip(pairwise(parts), pairwise(lengths), strict=True)
    ]
    best, most = None, -1.0
    for i, (part, length) in enumerate(zip(parts, lengths, strict=True)):
        near = bends[max(i - 1, 0) : i + 1] or [0.0]
        bow = max(near) * length**2 / 8 / 2
        if (gain := bow * length * 2 / 3) > most:
            u_m = (bow**2 + (line[i].u_m ** 2 + line[i + 1].u_m ** 2) / 4) ** 0.5
            best, most = OneMore((part.from_m + part.to_m) / 2, u_m, again=False), gain
    for i, point in enumerate(line):
        reach = sum(lengths[max(i - 1, 0) : i + 1]) / 2
        if (gain := point.u_m * (1 - 0.5**0.5) * reach) > most:
            best, most = OneMore(point.station_m, point.u_m, again=True), gain
    return best


def _centre(profile: Profile) -> list[ProfilePoint]:
    return [p for p in profile.points if p.offset_m == 0.0]
