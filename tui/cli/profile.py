"""`risewalk profile FILE`: stations, heights, uncertainties, closure."""

import sys
from typing import TYPE_CHECKING, Any

import click

from drivers.lengths import Units
from tui.cli.option_lengths import length_over_nothing
from tui.cli.output import emit_json
from tui.cli.waiting import waiting

if TYPE_CHECKING:
    from logger.profile import Profile
    from logger.reduction.adjustment import Adjustment
    from logger.reduction.closure import Tolerance


@click.command("profile")
@click.argument("file", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout.")
@click.option("--csv", "as_csv", is_flag=True, help="The points as CSV: station_m,offset_m,elevation_m,u_m.")
@click.option("--surface", type=click.Choice(["ground", "dug", "base", "built"]), default="ground", show_default=True)
@click.option("--tolerance", metavar="LENGTH", help="Your own limit for the misclosure, such as 5 mm.")
@click.option("--class", "order", metavar="CLASS", help="Limit of a levelling class times the root of the kilometres.")
@click.option(
    "--length", metavar="LENGTH", help="Length of the way levelled, for --class (else there and back by tape)."
)
@click.option("--units", type=click.Choice(["ft-in", "ft", "m", "mm"]), help="How lengths are shown (as in the walk).")
def command(**options: Any) -> int:
    """Reduce a walk to its profile: stations, heights above the zero, their uncertainty, and whether it closed.

    FILE is a session or a CSV with the columns station_m,elevation_m. Exits 1 where the walk fails to close.

    The ± hold the true height in 95 of 100 cases where the instrument is as its file states. Noise that lasts for
    seconds and readings within a second of a move are told less surely: a reading that was forced before the hose was
    known carries far more than its error.

    Example: risewalk profile slope.walk --json
    """
    if options["as_json"] and options["as_csv"]:
        raise click.UsageError("choose --json or --csv")
    profile, adjustment = _read(options["file"], options["surface"], _tolerance(options))
    if options["as_json"]:
        from logger.profile_report import document

        emit_json(document(profile, adjustment))
    elif options["as_csv"]:
        from logger.profile_report import csv_text

        sys.stdout.write(csv_text(profile))
    else:
        from tui.cli.profile_text import lines

        click.echo("\n".join(lines(profile, adjustment, _units(options))))
    failed = adjustment is not None and adjustment.closure.status == "fail"
    return 1 if failed else 0


def _read(file: str, surface: str, tolerance: "Tolerance | None") -> "tuple[Profile, Adjustment | None]":
    from logger.observation import Surface
    from logger.profile_file import is_session, read_adjustment, read_csv

    if not is_session(file):
        return read_csv(file), None
    with waiting("adjusting the walk"):
        adjustment = read_adjustment(file, surface=Surface(surface), tolerance=tolerance)
    return adjustment.profile, adjustment


def _units(options: dict[str, Any]) -> Units:
    from logger.profile_file import is_session
    from logger.session.replay import units_of

    if options["units"]:
        return Units(options["units"])
    return units_of(options["file"]) if is_session(options["file"]) else Units.METRES


def _tolerance(options: dict[str, Any]) -> "Tolerance | None":
    """The limit the user asked for; usage errors name what is wrong with it."""
    from logger.reduction.closure import CLASSES_MM, Tolerance

    own, order = options["tolerance"], options["order"]
    if own is not None and order is not None:
        raise click.UsageError("choose --tolerance or --class")
    if own is not None:
        return Tolerance(own_m=length_over_nothing(own, "--tolerance"))
    if options["length"] is not None and order is None:
        raise click.UsageError("--length is the way of a --class: choose one too")
    if order is None:
        return None
    if order not in CLASSES_MM:
        raise click.BadParameter(f"choose one of {', '.join(CLASSES_MM)}", param_hint="--class")
    way_m = None if options["length"] is None else length_over_nothing(options["length"], "--length")
    return Tolerance(per_root_km_m=CLASSES_MM[order] / 1000.0, length_m=way_m)
