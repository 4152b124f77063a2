"""`risewalk sheet`: printable sheets, self-contained HTML."""

import sys
from pathlib import Path

import click

from drivers.lengths import Units
from tui.cli.plan import plan_arguments, read_plan, units_option, write_file


@click.command(epilog="Example: risewalk sheet bank.walk --brief brief.toml --out marks.html")
@plan_arguments
@units_option
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True, help="Paper size.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write here instead of to stdout.")
def command(*, file: Path, brief_path: Path, risers: int | None, units: str, paper: str, out: Path | None) -> None:
    """A sheet to print: marks, base tops, stakes, the section to scale, and the cautions."""
    from logger.setout import set_out
    from logger.sheets.document import Paper
    from logger.sheets.html import page
    from logger.sheets.marks import marking_sheet

    plan = read_plan(file, brief_path, risers)
    marks = set_out(plan.profile, plan.option, plan.brief)
    text = page(marking_sheet(plan.profile, plan.option, marks, Units(units)), Paper(paper))
    if out is None:
        sys.stdout.write(text)
    else:
        write_file(out, text)
        click.echo(f"wrote {out}", err=True)
