"""The line of the steps on the ground: where they begin and end, and how high they have to climb."""

from dataclasses import dataclass, replace

from logger.errors import FileError, WrongFile
from logger.profile import Ground, Profile, ProfilePoint
from logger.steps.brief import Brief, Building
from logger.steps.fit import Line
from logger.steps.problem import SAME_M
from logger.steps.tables import Top

BARE_FOOT = "the bottom grade is bare ground: observe the finished walk below and name it as foot"
BARE_HEAD = "the rise is taken from bare ground: observe what is stepped onto at the top and name it as head"
DRAIN_AT_FOOT = (
    "the steps lead down to a building and the fall runs to its wall: plan a drain or a cross fall at the foot"
)
DRAIN_AT_HEAD = (
    "the steps leave a building: keep water from the wall at the head, and its sill above the finished surface"
)
ESTIMATE = "estimate only: the ground was taken as straight; walk it before any set-out or digging"


@dataclass(frozen=True, slots=True)
class Site:
    """The run from `start_m`, the finished heights at foot and head in the profile's datum, and the ground between.

    `line` is the same ground with its stations counted from the foot.
    """

    profile: Profile
    ground: Ground
    line: Line
    start_m: float
    run_m: float
    foot_m: float
    head_m: float
    bottom_m: float
    foot_is_fixed: bool
    notes: tuple[str, ...] = ()

    @property
    def rise_m(self) -> float:
        """Finished height at the end above the bottom grade."""
        return self.head_m - self.foot_m

    def moved(self, up_m: float) -> "Site":
        """The same with the foot moved up the line (down where negative); the head stays where it is."""
        start_m = self.start_m + up_m
        foot_m = self.foot_m if self.foot_is_fixed else self.ground.at(start_m) + self.bottom_m
        line = Line(self.ground, start_m)
        return replace(self, line=line, start_m=start_m, run_m=self.run_m - up_m, foot_m=foot_m)


def site_of(profile: Profile | None, brief: Brief) -> Site:
    """Where the brief puts the steps on the ground; straight ground where none was observed.

    Raises WrongFile where the brief does not fit the ground, FileError where the ground is too little.
    """
    profile = straight_ground(brief) if profile is None else profile
    ground = profile.ground()
    if len(ground.stations_m) < 2:
        raise FileError(profile.source or "the profile", "needs at least two points on the centre line")
    first_m, last_m = float(ground.stations_m[0]), float(ground.stations_m[-1])
    s = brief.steps
    start_m = first_m if s.start_m is None else s.start_m
    run_m = last_m - start_m if s.run_m is None else s.run_m
    mistakes = _mistakes(profile, brief, start_m, run_m)
    if mistakes:
        raise WrongFile(brief.source, mistakes)
    named = {point.name: point.elevation_m for point in profile.named}
    foot_m = named[s.foot] if s.foot else ground.at(start_m) + s.bottom_m
    end_m = start_m + run_m
    head_m = named[s.head] if s.head else foot_m + s.rise_m if s.rise_m is not None else ground.at(end_m)
    return Site(
        profile=profile,
        ground=ground,
        line=Line(ground, start_m),
        start_m=start_m,
        run_m=run_m,
        foot_m=foot_m,
        head_m=head_m,
        bottom_m=s.bottom_m,
        foot_is_fixed=bool(s.foot),
        notes=tuple(_notes(profile, brief, start_m < first_m - SAME_M or end_m > last_m + SAME_M)),
    )


def straight_ground(brief: Brief) -> Profile:
    """Ground assumed straight from foot to head: an answer before any walk."""
    s = brief.steps
    if s.rise_m is None or s.run_m is None:
        missing = [name for name, value in (("rise", s.rise_m), ("run", s.run_m)) if value is None]
        raise WrongFile(brief.source, [f"steps.{name}: is required where no ground was observed" for name in missing])
    start_m = s.start_m or 0.0
    points = (
        ProfilePoint(start_m, 0.0, 0.0, 0.0),
        ProfilePoint(start_m + s.run_m, 0.0, s.rise_m + s.bottom_m, 0.0),
    )
    return Profile(points, estimate_only=True, datum="foot")


def _mistakes(profile: Profile, brief: Brief, start_m: float, run_m: float) -> list[str]:
    s = brief.steps
    mistakes = []
    if run_m <= SAME_M:
        mistakes.append("steps.start: it lies at or beyond the last point observed")
    names = [point.name for point in profile.named]
    for field, name in (("foot", s.foot), ("head", s.head)):
        if name and name not in names:
            mistakes.append(f"steps.{field}: no point {name!r} was observed; there are: {', '.join(names) or 'none'}")
    for i, wish in enumerate(brief.landing_at):
        if not start_m - SAME_M <= wish.station_m <= start_m + run_m + SAME_M:
            mistakes.append(f"landing_at.{i}.station: it lies outside the steps")
    return mistakes


def _notes(profile: Profile, brief: Brief, beyond: bool) -> list[str]:
    s = brief.steps
    notes = list(profile.notes)
    if profile.estimate_only:
        notes.append(ESTIMATE)
    else:
        if not s.foot:
            notes.append(BARE_FOOT)
        if not s.head and s.rise_m is None:
            notes.append(BARE_HEAD)
    if beyond:
        notes.append("the steps go beyond the ground that was observed; there it is taken as level")
    if s.building is Building.FOOT:
        notes.append(DRAIN_AT_FOOT)
    if s.building is Building.HEAD:
        notes.append(DRAIN_AT_HEAD)
    if s.top is Top.GRADE:
        notes.append("the last riser meets what is there: its edge is built, the surface behind it is not")
    return notes
