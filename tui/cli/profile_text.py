"""The profile for people: a table at 80 columns, uncertainties as plus or minus at 95 %."""

from drivers.lengths import Units, show_length
from logger.profile import Profile
from logger.reduction.adjustment import Adjustment

AT_95 = 1.96


def lines(profile: Profile, adjustment: Adjustment | None, units: Units) -> list[str]:
    """The report, line by line."""
    out = [f"Zero: {profile.datum} at {show_length(profile.datum_elevation_m, units)}", ""]
    out.append(f"{'station':>14}  {'beside':>12}  {'elevation':>14}  {'± 95 %':>9}  {'seen':>4}")
    for p in profile.points:
        side = (
            "" if p.offset_m == 0 else show_length(abs(p.offset_m), units) + (" left" if p.offset_m < 0 else " right")
        )
        out.append(
            f"{show_length(p.station_m, units):>14}  {side:>12}  {show_length(p.elevation_m, units):>14}"
            f"  {AT_95 * p.u_m * 1000:>6.1f} mm  {p.observations:>4}"
        )
    return out
