"""`risewalk setout`: what to mark and where, for one layout."""

from pathlib import Path

import click

from drivers.lengths import Units
from tui.cli.output import emit_json
from tui.cli.plan import plan_arguments, read_plan, units_option


@click.command(epilog="Example: risewalk setout bank.walk --brief brief.toml --risers 12")
@plan_arguments
@units_option
@click.option("--json", "as_json", is_flag=True, help="For programs: metres, one document.")
def command(*, file: Path, brief_path: Path, risers: int | None, units: str, as_json: bool) -> None:
    """What to mark and where: riser lines, ground crossings, base tops, digging, stakes.

    All heights are above the zero. The tape column is measured as in the walk; the level string starts at riser 1.
    """
    from logger.export.documents import setout_document
    from logger.setout import set_out

    plan = read_plan(file, brief_path, risers)
    marks = set_out(plan.profile, plan.option, plan.brief)
    if as_json:
        emit_json(setout_document(marks))
        return
    from logger.sheets.marks import marking_sheet
    from logger.sheets.text import plain_text

    click.echo(plain_text(marking_sheet(plan.profile, plan.option, marks, Units(units))), nl=False)
