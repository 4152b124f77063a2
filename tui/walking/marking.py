"""What the set-out and check screens work through: targets in the order of the climb, and the lines that keep them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.guidance import Guide, Level, Say, Target, Told, Way, targets
from logger.setout import SetOut, set_out, tape_at
from tui.walking.standing import Live, Row

if TYPE_CHECKING:
    from logger.profile import Ground, Profile
    from logger.steps.brief import Brief
    from logger.steps.option import Option

Key = tuple[Level, int, str]
NEAR = 1.5
"""Within this many tolerances a height that still moves is waited for rather than called on grade."""
KEPT_AS = {"base": Level.BASE_TOP, "built": Level.FINISHED}


@dataclass
class Marking:
    """The marks of one layout, which one is worked on, and which were taken."""

    plan: SetOut
    ground: "Ground"
    level: Level = Level.BASE_TOP
    at: int = 0

    def __post_init__(self) -> None:
        self.taken: set[Key] = set()
        self._guide: Guide | None = None
        self.choose_level(self.level)

    @classmethod
    def of(cls, profile: "Profile", option: "Option", brief: "Brief") -> "Marking":
        """The marks of a layout; Refused where the ground was assumed."""
        return cls(set_out(profile, option, brief), profile.ground())

    @property
    def targets(self) -> tuple[Target, ...]:
        """What there is to mark at this level, foot first."""
        return self._targets

    @property
    def target(self) -> Target | None:
        """What is worked on; None where the brief gives no such height."""
        return self._targets[self.at] if self._targets else None

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
            if self.key(self._targets[at]) not in self.taken:
                self.at, self._guide = at, None
                return
        self.at, self._guide = max(0, min(self.at, count - 1)), None

    def key(self, target: Target) -> Key:
        """What a taken mark is remembered by."""
        return (target.level, target.riser, target.place)

    def read(self, rows: Sequence[Row]) -> None:
        """Remember what the session says was taken."""
        for row in rows:
            if row.kind in KEPT_AS and row.riser is not None and not row.struck:
                self.taken.add((KEPT_AS[row.kind], row.riser, row.place))

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


def lines_at(target: Target, tape_m: float) -> tuple[str, ...]:
    """The lines that keep what was found at a mark, where the walk's tape shows `tape_m`."""
    match target.level:
        case Level.FINISHED:
            return (f"built {target.riser} {target.place}",)
        case Level.BASE_TOP:
            return (f"base {target.riser} {target.place}",)
        case Level.SUBGRADE:
            where = f"{tape_m:.6f} m # riser {target.riser} {target.place}"
            return ("surface dug", f"station {where}", "surface ground")
        case Level.CROSSING:
            return (f"point g{target.riser}",)
