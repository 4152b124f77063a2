"""`risewalk takeoff`: digging, quantities and, with a catalogue, what it costs."""

from pathlib import Path
from typing import Any

import click

from tui.cli.output import emit_json
from tui.cli.plan import plan_arguments, read_plan
from tui.cli.quantities import catalogue_options, dug_sheet, read_quantities


@click.command(epilog="Example: risewalk takeoff bank.walk --brief brief.toml --catalogue yard.toml")
@plan_arguments
@catalogue_options
@click.option("--csv", "as_csv", is_flag=True, help="The quantities alone, for a spreadsheet.")
@click.option("--json", "as_json", is_flag=True, help="For programs: one document, amounts as decimal strings.")
def command(*, file: Path, as_csv: bool, as_json: bool, **given: Any) -> None:
    """Digging and quantities for one layout and, with a catalogue, prices and the quote.

    Each line says how its figure came about. The sheets (`risewalk sheet --kind cut|quantities|quote|office`) put the
    same on paper.

    A catalogue has one [[item]], or one line of CSV, for each thing: its use (unit, cap, paver, cheek, base, bedding,
    geotextile, drain stone, drain pipe, edging, adhesive, light, handrail, digging, fill, topsoil, disposal), name and
    price per (each, m, ft, yd, m2, ft2, yd2, m3, ft3, yd3, kg, t, lb, ton of 2000 lb); where they count, also the pack
    it is sold in and sold_as, waste, length of a piece, density in kg per m3 as placed, mass in kg, hours of labour,
    and the alternative it belongs to.

    [catalogue] has name, currency and common (what the items of no alternative are called together). [quote] has
    labour an hour, carry_distance, carry_hours (a tonne over a metre), overhead, contingency, margin, tax, tax_name,
    round_to, valid, maker, excluded and sums of name and amount. With a list in CSV both stand in the file of --terms.
    """
    from logger.export.documents import takeoff_document
    from logger.export.tables import lines_csv
    from logger.quote import quotes
    from logger.sheets.money import office_sheet, quantities_sheet
    from logger.sheets.text import plain_text

    plan = read_plan(file, given)
    found = read_quantities(plan, given)
    if as_csv:
        click.echo(lines_csv(found.taken), nl=False)
        return
    offers = quotes(found.wanted, found.catalogue) if found.taken.total is not None else ()
    if as_json:
        emit_json(takeoff_document(found.taken, found.marks, found.work, offers))
        return
    click.echo(plain_text(dug_sheet(plan, found)))
    if offers:
        sheet = office_sheet(plan.profile, plan.option, offers, found.catalogue, units=plan.units)
    else:
        sheet = quantities_sheet(plan.profile, plan.option, found.taken, plan.units)
    click.echo(plain_text(sheet), nl=False)
