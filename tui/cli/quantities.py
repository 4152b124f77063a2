"""What take-off and the sheets about digging and money share: volumes, needs, the catalogue, the priced lines."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from logger.errors import WrongFile
from tui.cli.plan import EXISTING, Plan

if TYPE_CHECKING:
    from logger.catalogue import Catalogue
    from logger.earthworks import Earthworks
    from logger.needs import Need
    from logger.setout import SetOut
    from logger.sheets.document import Sheet
    from logger.takeoff import TakeOff


@dataclass(frozen=True, slots=True)
class Quantities:
    """Everything counted for one layout."""

    marks: "SetOut"
    work: "Earthworks"
    wanted: "tuple[Need, ...]"
    catalogue: "Catalogue"
    taken: "TakeOff"


def catalogue_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """--catalogue, --terms and --alternative, the same for every command that counts and prices."""
    for option in reversed(
        (
            click.option("--catalogue", type=EXISTING, help="What is bought and what it costs (TOML or CSV)."),
            click.option("--terms", type=EXISTING, help="Currency and terms of the quote (TOML), where apart from it."),
            click.option("--alternative", default="", help="Count this alternative of the catalogue."),
        )
    ):
        command = option(command)
    return command


def read_quantities(plan: Plan, given: Mapping[str, Any]) -> Quantities:
    """Dig, count and price one layout; WrongFile where brief or catalogue leave out what is needed."""
    from logger.catalogue import Catalogue, read_catalogue
    from logger.construction import construction_of
    from logger.earthworks import Soil, dig
    from logger.needs import needs
    from logger.setout import marks_of
    from logger.takeoff import take_off

    path, alternative = given["catalogue"], given["alternative"]
    if path is None and given["terms"] is not None:
        raise click.UsageError("terms go with prices: --catalogue FILE")
    catalogue = Catalogue() if path is None else read_catalogue(path, given["terms"])
    if alternative and alternative not in catalogue.alternatives:
        named = ", ".join(name for name in catalogue.alternatives if name) or "none"
        raise WrongFile(catalogue.source, [f"no alternative {alternative!r}; there are {named}"])
    build, layers = construction_of(plan.brief, plan.option), plan.brief.layers
    marks = marks_of(plan.profile, plan.option, build)
    soil = Soil(swell=layers.swell, shrink=layers.shrink, topsoil_m=layers.topsoil_m or 0.0)
    work = dig(plan.profile, marks, build, soil, units=plan.units)
    wanted = needs(marks, work, build, units=plan.units)
    return Quantities(marks, work, wanted, catalogue, take_off(wanted, catalogue, alternative))


def dug_sheet(plan: Plan, found: Quantities) -> "Sheet":
    """The cut sheet of one layout."""
    from logger.sheets.digging import Dug, cut_sheet

    return cut_sheet(plan.profile, plan.option, Dug(found.marks, found.work), plan.units)
