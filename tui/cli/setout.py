"""`risewalk setout`: what to mark and where, for one layout; with a port, live guidance to each mark."""

from pathlib import Path
from typing import Any

import click

from tui.cli import OK
from tui.cli.option_lengths import length_over_nothing
from tui.cli.output import emit_json
from tui.cli.plan import live_options, plan_arguments, read_plan


@click.command(epilog="Example: risewalk setout bank.walk --brief brief.toml --risers 12")
@plan_arguments
@live_options
@click.option(
    "--height",
    type=click.Choice(["finished", "base", "course", "subgrade", "crossing"]),
    default="base",
    show_default=True,
    help="What to guide to.",
)
@click.option("--tolerance", default="3 mm", show_default=True, help="On grade within this.")
@click.option("--json", "as_json", is_flag=True, help="For programs: metres, one document; live, one object a line.")
def command(*, file: Path, as_json: bool, **given: Any) -> int:
    """What to mark and where: riser lines, ground crossings, base tops, digging, stakes.

    All heights are above the zero. The tape column is measured as in the walk; the level string starts at riser 1.
    With --port or --live it guides to each mark in turn: raise or lower, up or down the slope.
    """
    from logger.export.documents import setout_document
    from logger.setout import set_out

    plan = read_plan(file, given)
    tolerance_m = length_over_nothing(given["tolerance"], "--tolerance", plan.units)
    if given["port"] or given["live"]:
        from tui.cli.live import HEIGHTS, guide

        level = HEIGHTS[given["height"]]
        return guide(plan, file, given, level=level, tolerance_m=tolerance_m, as_json=as_json, building=True)
    marks = set_out(plan.profile, plan.option, plan.brief)
    if as_json:
        emit_json(setout_document(marks))
        return OK
    from logger.sheets.marks import marking_sheet
    from logger.sheets.text import plain_text

    click.echo(plain_text(marking_sheet(plan.profile, plan.option, marks, plan.units)), nl=False)
    return OK
