"""`risewalk sheet`: printable sheets, as a self-contained page."""

import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tui.cli.plan import EXISTING, Plan, plan_arguments, read_plan, write_file
from tui.cli.quantities import catalogue_options
from tui.cli.waiting import waiting

if TYPE_CHECKING:
    from logger.sheets.document import Sheet


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a sheet is made from: the file, the options of layout and catalogue, the walk over finished steps."""

    file: Path
    given: Mapping[str, Any]
    built: Path | None

    def plan(self) -> Plan:
        """The ground and the layout on it."""
        return read_plan(self.file, self.given)


def _marks(wanted: Wanted) -> "Sheet":
    from logger.setout import set_out
    from logger.sheets.marks import marking_sheet

    plan = wanted.plan()
    return marking_sheet(plan.profile, plan.option, set_out(plan.profile, plan.option, plan.brief), plan.units)


def _cut(wanted: Wanted) -> "Sheet":
    from tui.cli.quantities import dug_sheet, read_quantities

    plan = wanted.plan()
    return dug_sheet(plan, read_quantities(plan, wanted.given))


def _quantities(wanted: Wanted) -> "Sheet":
    from logger.sheets.money import quantities_sheet
    from tui.cli.quantities import read_quantities

    plan = wanted.plan()
    return quantities_sheet(plan.profile, plan.option, read_quantities(plan, wanted.given).taken, plan.units)


def _money(wanted: Wanted, *, office: bool) -> "Sheet":
    from logger.quote import quotes
    from logger.sheets.money import client_sheet, office_sheet
    from tui.cli.quantities import read_quantities

    if wanted.given["catalogue"] is None:
        raise click.UsageError("a quote needs prices: --catalogue FILE")
    plan = wanted.plan()
    found = read_quantities(plan, wanted.given)
    made = office_sheet if office else client_sheet
    offers = quotes(found.wanted, found.catalogue)
    return made(plan.profile, plan.option, offers, found.catalogue, units=plan.units)


def _asbuilt(wanted: Wanted) -> "Sheet":
    from logger.finished import judged
    from logger.sheets.built import asbuilt_sheet

    plan = wanted.plan()
    result = judged(wanted.built or wanted.file, plan.profile, plan.option, brief=plan.brief)
    sheet = asbuilt_sheet(plan.profile, plan.option, result, plan.units)
    return sheet if wanted.built is None else with_source(sheet, wanted.built, "Finished steps walked")


def _field_book(wanted: Wanted) -> "Sheet":
    from drivers.lengths import Units
    from logger.profile_file import read_adjustment
    from logger.session.replay import field_book, units_of
    from logger.session.store import Session
    from logger.sheets.fieldbook import field_book_sheet

    told = wanted.given["steps__units"]
    if told and told not in list(Units):
        raise click.UsageError(f"--units: {told!r} is none of {', '.join(Units)}")
    with Session.open(wanted.file) as session:
        book = field_book(session)
    units = Units(told) if told else units_of(wanted.file)
    return field_book_sheet(book, read_adjustment(wanted.file), units)


KINDS: dict[str, Callable[[Wanted], "Sheet"]] = {
    "marks": _marks,
    "cut": _cut,
    "quantities": _quantities,
    "quote": lambda wanted: _money(wanted, office=False),
    "office": lambda wanted: _money(wanted, office=True),
    "asbuilt": _asbuilt,
    "fieldbook": _field_book,
}
"""The sheets there are; all but the field book are of a layout."""
FORMS = (".html", ".htm", ".pdf")


def with_source(sheet: "Sheet", file: Path, what: str = "Walked") -> "Sheet":
    """The sheet with when and with what a walk was made, where it comes from a session."""
    from logger.profile_file import is_session
    from logger.session.replay import field_book, recorded_instrument
    from logger.session.store import Session
    from logger.sheets.head import session_facts

    if not is_session(file):
        return sheet
    with Session.open(file) as session:
        book = field_book(session)
    instrument = recorded_instrument(book, file).instrument.name if book.instrument else "not recorded"
    told = session_facts(book, instrument, what)
    return replace(
        sheet,
        facts=(*sheet.facts, *told),
        foot=f"{sheet.foot} · {' · '.join(f'{name.lower()} {value}' for name, value in told)}",
    )


def _issued(sheet: "Sheet", dated: str) -> Iterator[tuple[str, str]]:
    """The facts of a sheet, with the date of issue where it asks for one."""
    from logger.sheets.money import ISSUED

    yield from ((name, dated or value) if name == ISSUED else (name, value) for name, value in sheet.facts)


@click.command(epilog="Example: risewalk sheet bank.walk --brief brief.toml --paper a4 --out marks.pdf")
@plan_arguments
@click.option("--kind", type=click.Choice(list(KINDS)), default="marks", show_default=True, help="Which sheet.")
@catalogue_options
@click.option("--built", type=EXISTING, help="The walk over the finished steps, for asbuilt.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True, help="Paper size.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write here; .html or .pdf by its name.")
@click.option("--maker", default="", help="Your name at the head of the sheet.")
@click.option("--dated", default="", help="Date of issue, on a quote; without it there is room to write one.")
@click.option("--template", type=click.Path(dir_okay=False, path_type=Path), help="Your own typst template for PDF.")
def command(
    *,
    file: Path,
    kind: str,
    built: Path | None,
    paper: str,
    out: Path | None,
    maker: str,
    dated: str,
    template: Path | None,
    **given: Any,
) -> None:
    """A sheet to print: marks and base tops, digging, quantities, quote, as-built, field book.

    Without --out the page goes to stdout, as HTML. PDF needs the extra `sheets`.
    """
    from logger.sheets.document import Paper

    if out is not None and out.suffix.lower() not in FORMS:
        raise click.UsageError(f"{out}: a sheet is written as {' or '.join(FORMS)}")
    sheet = with_source(KINDS[kind](Wanted(file, given, built)), file)
    sheet = replace(sheet, maker=maker or sheet.maker, facts=tuple(_issued(sheet, dated)))
    if out is not None and out.suffix.lower() == ".pdf":
        from logger.sheets.pdf import pdf

        with waiting("setting the pages"):
            pages = pdf(sheet, Paper(paper), template)
        write_file(out, pages)
    else:
        from logger.sheets.html import page

        text = page(sheet, Paper(paper))
        if out is None:
            sys.stdout.write(text)
            return
        write_file(out, text)
    click.echo(f"wrote {out}", err=True)
