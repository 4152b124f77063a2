"""The profile for people: a table at 80 columns, uncertainties as plus or minus at 95 %."""

from collections.abc import Iterator

from drivers.lengths import INCH_M, Units, show_length
from logger import slopes
from logger.observation import COVERAGE
from logger.profile import Profile
from logger.reduction.adjustment import Adjustment
from logger.reduction.closure import Closure, Status


def lines(profile: Profile, adjustment: Adjustment | None, units: Units) -> list[str]:
    """The report, line by line."""
    out = [f"Zero: {profile.datum} at {show_length(profile.datum_elevation_m, units)}"]
    if adjustment is not None:
        out.append("Closure: " + _closing(adjustment.closure))
        out += [f"  also {_closing(c)}" for c in adjustment.closures if c != adjustment.closure]
    out += ["", *_table(profile, units), ""] if profile.points else [""]
    named = [n for n in profile.named if n.name != profile.datum]
    out += [f"{n.name}: {show_length(n.elevation_m, units)} {plus_minus(n.u_m, units)}" for n in named]
    out += _at_a_glance(profile, units)
    if adjustment is not None:
        out += _trust(adjustment)
    return out + [f"note: {note}" for note in profile.notes]


def plus_minus(u_m: float, units: Units) -> str:
    """A standard uncertainty as people are shown it, at 95 %: in inches beside feet, in millimetres beside metres."""
    if units in (Units.FEET, Units.FEET_INCHES):
        return f"± {COVERAGE * u_m / INCH_M:.2f} in"
    return f"± {COVERAGE * u_m * 1000:.1f} mm"


def _closing(closed: Closure) -> str:
    if closed.misclosure_m is None:
        return "none, the zero was observed only once"
    word = "closes" if closed.status is Status.PASS else "DOES NOT CLOSE"
    limit = f"tolerance {closed.tolerance_m * 1000:.1f} mm"
    first, last = closed.observations
    return f"{word}, {closed.misclosure_m * 1000:+.1f} mm between observations {first} and {last}, {limit}"


def _table(profile: Profile, units: Units) -> Iterator[str]:
    yield f"{'station':>13}  {'beside':>17}  {'elevation':>14}  {'± 95 %':>9}  {'seen':>4}"
    for p in profile.points:
        side = "left" if p.offset_m < 0 else "right"
        beside = f"{show_length(abs(p.offset_m), units)} {side}" if p.offset_m else ""
        station, height = show_length(p.station_m, units), show_length(p.elevation_m, units)
        doubt = plus_minus(p.u_m, units) if p.u_m else "not known"
        yield f"{station:>13}  {beside:>17}  {height:>14}  {doubt:>9}  {p.observations:>4}"


def _at_a_glance(profile: Profile, units: Units) -> Iterator[str]:
    for word, stretch in (("steepest", slopes.steepest(profile)), ("flattest", slopes.flattest(profile))):
        if stretch is not None:
            between = f"{show_length(stretch.from_m, units)} to {show_length(stretch.to_m, units)}"
            yield f"{word} from {between}: {stretch.slope:+.1%}"
    for across in slopes.cross_falls(profile):
        at = show_length(across.station_m, units)
        side = "right" if across.slope > 0 else "left"
        yield f"across at {at}: {abs(across.slope):.1%} up to the {side}, ± {COVERAGE * across.u:.1%}"
    more = slopes.one_more(profile)
    if more is not None:
        at = show_length(more.station_m, units)
        what = f"station {at} again" if more.again else f"a new station at {at}"
        yield f"one more reading helps most: {what} ({plus_minus(more.u_m, units)} now)"


def _trust(adjustment: Adjustment) -> Iterator[str]:
    if adjustment.sigma0 is None:
        yield "nothing was observed twice: no reading checks another"
    else:
        word = "as good as stated" if adjustment.fits else "WORSE than stated"
        yield f"readings {word} (variance factor {adjustment.sigma0**2:.2f} on {adjustment.redundancy} checks)"
    for setup, rate in enumerate(adjustment.drift_m_per_h, 1):
        if abs(rate) > 1e-7:
            yield f"drift of the zero in setup {setup}: {rate * 1000:+.1f} mm per h"
    alike = [str(r.n) for r in adjustment.residuals if r.suspect]
    if len(alike) > 1:
        yield f"one of observations {', '.join(alike)} is wrong; no reading tells which: observe one again"
    for doubt in adjustment.suspects:
        effect = f"; struck, {doubt.moved} moves by {doubt.moved_m * 1000:+.1f} mm" if doubt.moved else ""
        yield f"suspect: observation {doubt.n} ({doubt.label}){effect}"
