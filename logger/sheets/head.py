"""What every sheet says of itself: job, zero, instrument, uncertainty, session digest, date, version."""

from importlib.metadata import version

from drivers.lengths import Units
from logger import measures
from logger.observation import COVERAGE
from logger.profile import Profile
from logger.session.events import iso
from logger.session.fieldbook import FieldBook
from logger.setout import Bed, Mark
from logger.sheets.document import both
from logger.steps.option import Option


def facts(profile: Profile, units: Units, what: str = "Ground") -> tuple[tuple[str, str], ...]:
    """The facts at the head of a sheet, in the order printed; `what` the points of the profile are."""
    named = (("Job", profile.source),) if profile.source else ()
    return (
        *named,
        ("Zero mark", f"{profile.datum}, its height {both(profile.datum_elevation_m, units)}"),
        (what, f"{len(profile.points)} points, {uncertainty(profile, units)}"),
    )


def uncertainty(profile: Profile, units: Units) -> str:
    """How well the ground is known, at the worst of its points."""
    worst = max((p.u_m for p in profile.points), default=0.0)
    if not worst:
        return "uncertainty not stated"
    return f"± {measures.both(measures.fine(COVERAGE * worst, units))} at the worst (95 %)"


def foot(profile: Profile, units: Units, what: str = "Ground") -> str:
    """What stands at the foot of every page: version, session, uncertainty; when and with what is added where known."""
    session = profile.digest or "none, not from a session"
    return f"risewalk {version('risewalk')} · {what.lower()} {uncertainty(profile, units)} · session {session}"


def counts(option: Option) -> str:
    """`12 risers, 10 treads, 2 landings`."""
    parts = ((option.risers, "riser"), (option.treads, "tread"), (len(option.landings), "landing"))
    return ", ".join(f"{n} {name}{'' if n == 1 else 's'}" for n, name in parts if n)


def part_of(mark: Mark, bed: Bed) -> str:
    """What a bench carries: a first step, a tread, a landing, the row at its edge, what lies behind that row."""
    if bed is not mark.beds[0]:
        return f"{mark.part.value}, behind the edge row"
    edge = len(mark.beds) > 1 or mark.depth_m is None
    return f"{mark.part.value}, edge row" if edge else mark.part.value


def session_facts(book: FieldBook, instrument: str, what: str) -> tuple[tuple[str, str], ...]:
    """When the walk was made, by its own clock, and with what."""
    if not book.entries:
        return (("Instrument", instrument),)
    first, last = (iso(book.entries[i].at_us) for i in (0, -1))
    until = last[11:16] if last[:10] == first[:10] else f"{last[:10]} {last[11:16]}"
    return ((what, f"{first[:10]} {first[11:16]} to {until} UTC"), (f"{what} with", instrument))
