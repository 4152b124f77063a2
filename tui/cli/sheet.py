"""`risewalk sheet`: printable sheets, as a self-contained page."""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tui.cli.plan import Plan, plan_arguments, read_plan, write_file

if TYPE_CHECKING:
    from logger.sheets.document import Sheet


def _marks(plan: Plan, catalogue: Path | None) -> "Sheet":
    from logger.setout import set_out
    from logger.sheets.marks import marking_sheet

    return marking_sheet(plan.profile, plan.option, set_out(plan.profile, plan.option, plan.brief), plan.units)


def _cut(plan: Plan, catalogue: Path | None) -> "Sheet":
    from logger.sheets.digging import cut_sheet
    from tui.cli.quantities import read_quantities

    found = read_quantities(plan, catalogue)
    return cut_sheet(plan.profile, plan.option, found.marks, found.work, units=plan.units)


def _quantities(plan: Plan, catalogue: Path | None) -> "Sheet":
    from logger.sheets.money import quantities_sheet
    from tui.cli.quantities import read_quantities

    return quantities_sheet(plan.profile, plan.option, read_quantities(plan, catalogue).taken, plan.units)


def _money(plan: Plan, catalogue: Path | None, *, office: bool) -> "Sheet":
    from logger.quote import quotes
    from logger.sheets.money import client_sheet, office_sheet
    from tui.cli.quantities import read_quantities

    if catalogue is None:
        raise click.UsageError("a quote needs prices: --catalogue FILE")
    found = read_quantities(plan, catalogue)
    offers = quotes(found.wanted, found.catalogue)
    return (office_sheet if office else client_sheet)(
        plan.profile, plan.option, offers, found.catalogue, units=plan.units
    )


KINDS: dict[str, Callable[[Plan, Path | None], "Sheet"]] = {
    "marks": _marks,
    "cut": _cut,
    "quantities": _quantities,
    "quote": lambda plan, catalogue: _money(plan, catalogue, office=False),
    "office": lambda plan, catalogue: _money(plan, catalogue, office=True),
}
"""The sheets that can be made of a layout."""


@click.command(epilog="Example: risewalk sheet bank.walk --brief brief.toml --paper a4 --out marks.pdf")
@plan_arguments
@click.option("--kind", type=click.Choice(list(KINDS)), default="marks", show_default=True, help="Which sheet.")
@click.option(
    "--catalogue",
    type=click.Path(dir_okay=False, path_type=Path),
    help="What is bought and what it costs (TOML or CSV); for quantities, quote and office.",
)
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True, help="Paper size.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write here; .html or .pdf by its name.")
@click.option("--maker", default="", help="Your name at the head of the sheet.")
@click.option("--template", type=click.Path(dir_okay=False, path_type=Path), help="Your own typst template for PDF.")
def command(
    *,
    file: Path,
    kind: str,
    catalogue: Path | None,
    paper: str,
    out: Path | None,
    maker: str,
    template: Path | None,
    **given: Any,
) -> None:
    """A sheet to print: marks and base tops, digging, quantities, a quote for the client or for the office.

    Without --out the page goes to stdout, as HTML. PDF needs the extra `sheets`.
    """
    from logger.sheets.document import Paper

    sheet = KINDS[kind](read_plan(file, given), catalogue)
    if maker:
        sheet = replace(sheet, maker=maker)
    if out is not None and out.suffix.lower() == ".pdf":
        from logger.sheets.pdf import pdf

        write_file(out, pdf(sheet, Paper(paper), template))
    else:
        from logger.sheets.html import page

        text = page(sheet, Paper(paper))
        if out is None:
            sys.stdout.write(text)
            return
        write_file(out, text)
    click.echo(f"wrote {out}", err=True)
