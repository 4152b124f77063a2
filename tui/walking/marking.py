"""What the set-out and check screens work through: targets in the order of the climb, and the lines that keep them."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from logger.guidance import TOLERANCE_M, Guide, Level, Say, Target, Told, Way, targets
from logger.setout import SetOut, tape_at
from tui.walking.standing import Live, Row

if TYPE_CHECKING:
    from logger.profile import Ground

TAKEN_AGAIN = "taken again after the work was moved"
Key = tuple[Level, int, str]
NEAR = 1.5
"""Within this many tolerances a height that still moves is waited for rather than called on grade."""
KEPT_AS = {"base": Level.BASE_TOP, "built": Level.FINISHED}
SAME_M = 0.002
"""Two distances on a tape closer than this are one place."""


class Marking:
    """The marks of one layout, which one is worked on, and which were taken."""

    def __init__(self, plan: SetOut, ground: "Ground", level: Level | None = None) -> None:
        self.plan, self.ground = plan, ground
        self.at = 0
        self._rows: Sequence[Row] = ()
        self._guide: Guide | None = None
        self.choose_level(level or next(at for at in (Level.BASE_TOP, Level.FINISHED) if targets(plan, at, ground)))

    @property
    def targets(self) -> tuple[Target, ...]:
        """What there is to mark at this level, foot first."""
        return self._targets

    @property
    def target(self) -> Target | None:
        """What is worked on; None where the brief gives no such height."""
        return self._targets[self.at] if self._targets else None

    def follow(self, before: "Marking") -> None:
        """Go on at the level and the mark of an earlier layout, where this one has them too."""
        if not targets(self.plan, before.level, self.ground):
            return
        self.read(before._rows)
        self.choose_level(before.level)
        keys, wanted = [self.key(t) for t in self._targets], before.target
        if wanted is not None and self.key(wanted) in keys:
            self.at = keys.index(self.key(wanted))

    def choose_level(self, level: Level) -> None:
        """Work to another height of the steps, from the first mark that was not taken."""
        self.level, self._targets = level, targets(self.plan, level, self.ground)
        self.at = -1
        self.forward()

    def next_level(self) -> None:
        """The next height that the brief gives."""
        levels = list(Level)
        for i in range(1, len(levels) + 1):
            level = levels[(levels.index(self.level) + i) % len(levels)]
            if targets(self.plan, level, self.ground):
                self.choose_level(level)
                return

    def go(self, by: int) -> None:
        """Another mark."""
        self.at = max(0, min(len(self._targets) - 1, self.at + by))
        self._guide = None

    def forward(self) -> None:
        """The next mark that was not taken, round again from the foot."""
        count = len(self._targets)
        for i in range(1, count + 1):
            at = (self.at + i) % count
            if self.taken(self._targets[at]) is None:
                self.at, self._guide = at, None
                return
        self.at, self._guide = max(0, min(self.at, count - 1)), None

    def key(self, target: Target) -> Key:
        """What names a mark, whatever the layout."""
        return (target.level, target.riser, target.place)

    def read(self, rows: Sequence[Row]) -> None:
        """Look at what the field book holds by now."""
        self._rows = [row for row in rows if not row.struck]

    def taken(self, target: Target) -> Row | None:
        """The last observation kept of a mark, None before there is one."""
        return next((row for row in reversed(self._rows) if self._is_of(row, target)), None)

    def moved(self) -> list[Row]:
        """What was taken at the mark in front before the work there was moved: off the latest by over the tolerance."""
        target = self.target
        rows = [] if target is None else [row for row in self._rows if self._is_of(row, target)]
        return [row for row in rows if abs(row.above_zero_m - rows[-1].above_zero_m) > TOLERANCE_M]

    @property
    def done(self) -> int:
        """How many marks of this level were taken."""
        return sum(self.taken(target) is not None for target in self._targets)

    def heard(self, live: Live) -> Told | None:
        """What to say for what the instrument shows; None where there is no target or nothing to trust."""
        target = self.target
        if target is None:
            return None
        if live.above_zero_m is None:
            return Told(Say.ZERO, 0.0, None, 0)
        if self._guide is None:
            way = Way.FIND if self.level is Level.CROSSING else Way.CHECK
            self._guide = Guide(target, way)
        near = abs(target.height_m - live.above_zero_m) <= NEAR * self._guide.tolerance_m
        return self._guide.heard(live.above_zero_m, steady=live.steady or not near)

    def tape_m(self, target: Target) -> float:
        """Where the walk's tape shows the mark."""
        return tape_at(target.station_m, self.ground, self.plan.tape)

    def lines(self, target: Target) -> tuple[str, ...]:
        """The lines that keep what was found at a mark."""
        return lines_at(target, self.tape_m(target))

    def _is_of(self, row: Row, target: Target) -> bool:
        match target.level:
            case Level.FINISHED | Level.BASE_TOP:
                return KEPT_AS.get(row.kind) is target.level and (row.riser, row.place) == (target.riser, target.place)
            case Level.SUBGRADE:
                dug = row.surface == "dug" and row.station_m is not None
                return dug and row.note == note_of(target) and abs((row.station_m or 0.0) - target.station_m) < SAME_M
            case _:
                return row.kind == "point" and lines_at(target, 0.0) == (f"point {row.name}",)


def note_of(target: Target) -> str:
    """The note that ties a dug station to its mark."""
    return f"riser {target.riser} {target.place}"


def lines_at(target: Target, tape_m: float) -> tuple[str, ...]:
    """The lines that keep what was found at a mark, where the walk's tape shows `tape_m`."""
    match target.level:
        case Level.FINISHED:
            return (f"built {target.riser} {target.place}",)
        case Level.BASE_TOP:
            return (f"base {target.riser} {target.place}",)
        case Level.COURSE:
            return (f"point riser {target.riser} {target.place}",)
        case Level.SUBGRADE:
            return ("surface dug", f"station {tape_m:.6f} m # {note_of(target)}", "surface ground")
        case Level.CROSSING:
            return (f"point g{target.riser}",)
