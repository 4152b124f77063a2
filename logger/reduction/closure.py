"""The walk reduced once in order, before any adjustment: approximate heights, and how far the zero fails to close."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise

from logger.observation import COVERAGE, Observation
from logger.reduction.points import Point

FLOOR_M = 0.003
"""Below this no misclosure of a walk on a slope is worth a second walk (common practice)."""

CLASSES_MM = {"first-1": 4.0, "first-2": 5.0, "second-1": 6.0, "second-2": 8.0, "third": 12.0, "construction": 24.0}
"""Millimetres per root kilometre of a loop: FGCC 1984; the first four and `third` from memory, `construction` from the
0.1 ft per root mile of course notes (Michigan State, ITCM 410)."""


class Status(StrEnum):
    """Whether the walk closed."""

    PASS = "pass"
    FAIL = "fail"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What a misclosure is held against: the user's own limit, else a class times root kilometres, over a floor."""

    own_m: float | None = None
    per_root_km_m: float = 0.0
    length_m: float | None = None

    def limit_m(self, u_m: float, walked_m: float) -> float:
        """The limit in metres, for a misclosure with standard uncertainty `u_m` over a walk of `walked_m`."""
        if self.own_m is not None:
            return self.own_m
        km = (walked_m if self.length_m is None else self.length_m) / 1000.0
        return max(FLOOR_M, COVERAGE * u_m, self.per_root_km_m * math.sqrt(km))


@dataclass(frozen=True, slots=True)
class Closure:
    """How the walk came back to a known height: last minus first, None where nothing was observed to tell.

    `u_m` is the standard uncertainty of that difference from the readings; `observations` are the two compared.
    """

    misclosure_m: float | None
    u_m: float
    tolerance_m: float
    status: Status
    observations: tuple[int, ...] = ()


@dataclass(slots=True)
class Approximate:
    """Heights from one pass in order, with their variances: per point and per setup; None where nothing known reaches.

    `offsets_m` is what the instrument shows at height zero in a setup, `anchors` the observation each setup hangs on.
    """

    heights_m: list[float | None]
    variances_m2: list[float]
    offsets_m: dict[int, float] = field(default_factory=dict)
    anchors: dict[int, int] = field(default_factory=dict)


def in_order(seen: Sequence[Observation], points: Sequence[Point]) -> Approximate:
    """Reduce setup by setup as a field book is: every height from the first known point of its setup.

    Setups that know nothing yet are tried again once others have reached them.
    """
    of = {i: p for p, point in enumerate(points) for i in point.seen}
    book = Approximate([p.known_m for p in points], [p.known_u_m**2 for p in points])
    members: dict[int, list[int]] = {}
    for i, one in enumerate(seen):
        members.setdefault(one.setup, []).append(i)
    waiting = list(members)
    while waiting:
        still = [s for s in waiting if not _hang(members[s], seen, of, book)]
        if len(still) == len(waiting):
            break
        waiting = still
    return book


def _hang(members: list[int], seen: Sequence[Observation], of: dict[int, int], book: Approximate) -> bool:
    """Hang one setup on its first known point and pass the heights on; False where it knows none."""
    for anchor in members:
        known = book.heights_m[of[anchor]]
        if known is not None:
            break
    else:
        return False
    setup = seen[anchor].setup
    book.offsets_m[setup], book.anchors[setup] = shown(seen[anchor]) - known, anchor
    for i in members:
        if book.heights_m[of[i]] is None:
            book.heights_m[of[i]] = shown(seen[i]) - book.offsets_m[setup]
            book.variances_m2[of[i]] = book.variances_m2[of[anchor]] + seen[anchor].u_m ** 2 + seen[i].u_m ** 2
    return True


def shown(seen: Observation) -> float:
    """What the instrument would show with the probe on the point itself."""
    return seen.height_m - seen.rod_m


def closures(
    seen: Sequence[Observation], points: Sequence[Point], book: Approximate, tolerance: Tolerance
) -> tuple[Closure, ...]:
    """How each setup closes, in the order they ended: its last known mark against the first point it hangs on.

    A setup that sees no known mark again is held against the point it hangs on, where that was observed again.
    """
    of = {i: p for p, point in enumerate(points) for i in point.seen}
    walked = _walked_m(seen)
    last: dict[int, tuple[int, bool]] = {}
    for i, one in enumerate(seen):
        anchor = book.anchors.get(one.setup)
        if anchor is None or anchor == i:
            continue
        known = points[of[i]].known_m is not None
        if known or (of[i] == of[anchor] and not last.get(one.setup, (0, False))[1]):
            last[one.setup] = (i, known)
    found = []
    for i, known in sorted(last.values()):
        one, anchor, point = seen[i], book.anchors[seen[i].setup], points[of[i]]
        height = point.known_m if known else book.heights_m[of[i]]
        variance = seen[anchor].u_m ** 2 + one.u_m**2
        if of[anchor] != of[i]:
            variance += book.variances_m2[of[anchor]] + point.known_u_m**2
        missed = shown(one) - book.offsets_m[one.setup] - (height or 0.0)
        limit = tolerance.limit_m(math.sqrt(variance), walked)
        status = Status.PASS if abs(missed) <= limit else Status.FAIL
        found.append(Closure(missed, math.sqrt(variance), limit, status, (seen[anchor].n, one.n)))
    return tuple(found)


def closure_of_all(each: Sequence[Closure], tolerance: Tolerance, seen: Sequence[Observation]) -> Closure:
    """How the walk closes: its last zero against its first, unless an earlier one fails worse than that."""
    if not each:
        return Closure(None, 0.0, tolerance.limit_m(0.0, _walked_m(seen)), Status.NONE)
    failed = [c for c in each if c.status is Status.FAIL]
    return max(failed, key=lambda c: abs(c.misclosure_m or 0.0) / max(c.tolerance_m, 1e-12)) if failed else each[-1]


def _walked_m(seen: Sequence[Observation]) -> float:
    """Length of the way there and back, from the tape distances in the order observed."""
    tape = [one.tape_m for one in seen if one.tape_m is not None]
    out = math.fsum(abs(b - a) for a, b in pairwise(tape))
    return out + abs(tape[-1] - tape[0]) if tape else 0.0
