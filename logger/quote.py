"""The quote: what the work costs and what is asked for it, in exact decimals, one alternative at a time.

Each share is of the sum of everything before it, in this order: overhead, contingency, margin; then the price is
rounded to the step asked for, and tax is added to that.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal

from drivers.lengths import Units
from logger.catalogue import Catalogue, Terms
from logger.errors import WrongFile
from logger.measures import both, length
from logger.needs import Need, exact
from logger.takeoff import CENT, TakeOff, take_off


@dataclass(frozen=True, slots=True)
class Cost:
    """One line of the office's calculation: what, how it came about, and the amount."""

    name: str
    how: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class Quote:
    """One alternative: the office sees `costs`, the client `price`, `tax` and `total`."""

    alternative: str
    taken: TakeOff
    costs: tuple[Cost, ...]
    hours: Decimal
    price: Decimal
    tax: Decimal
    total: Decimal
    unpriced: tuple[str, ...]


def quotes(wanted: tuple[Need, ...], catalogue: Catalogue) -> tuple[Quote, ...]:
    """Every alternative of the catalogue, in the order written; WrongFile where nothing that is needed has a price."""
    taken = [take_off(wanted, catalogue, name) for name in catalogue.alternatives]
    if all(alternative.total is None for alternative in taken):
        raise WrongFile(catalogue.source, ["no item that these steps need has a price: there is nothing to quote"])
    units = wanted[0].units if wanted else Units.METRES
    return tuple(_quote(alternative, catalogue.quote, units) for alternative in taken)


def _quote(taken: TakeOff, terms: Terms, units: Units) -> Quote:
    hours, carrying = sum((line.hours for line in taken.lines), Decimal(0)), _carrying(taken, terms)
    costs = [
        Cost("materials", f"{len(taken.lines) - len(taken.unpriced)} lines of the take-off", taken.total or Decimal(0)),
        Cost("labour", f"{_figure(hours)} hours at {terms.labour}", _money(hours * terms.labour)),
    ]
    if carrying:
        far = both(length(terms.carry_distance, units))
        how = f"{_figure(carrying)} hours over {far}, at {terms.labour}"
        costs.append(Cost("carrying", how, _money(carrying * terms.labour)))
    costs += [Cost(entry.name, "a sum", _money(entry.amount)) for entry in terms.sums]
    for name, share in (("overhead", terms.overhead), ("contingency", terms.contingency), ("margin", terms.margin)):
        if share:
            so_far = sum((cost.amount for cost in costs), Decimal(0))
            costs.append(Cost(name, f"{_figure(share * 100)} % of {so_far}", _money(so_far * share)))
    price = _stepped(sum((cost.amount for cost in costs), Decimal(0)), terms.round_to)
    tax = _money(price * terms.tax)
    return Quote(taken.alternative, taken, tuple(costs), hours + carrying, price, tax, price + tax, taken.unpriced)


def _carrying(taken: TakeOff, terms: Terms) -> Decimal:
    """Hours to carry everything that has a mass: tonnes times metres times the hours for one tonne over one metre."""
    tonnes = sum((line.mass_kg for line in taken.lines if line.mass_kg is not None), Decimal(0)) / 1000
    return tonnes * exact(terms.carry_distance) * terms.carry_hours


def _stepped(amount: Decimal, step: Decimal) -> Decimal:
    """The nearest multiple of a step, halves up."""
    return _money((amount / step).to_integral_value(ROUND_HALF_UP) * step)


def _money(amount: Decimal) -> Decimal:
    return amount.quantize(CENT, ROUND_HALF_EVEN)


def _figure(value: Decimal) -> str:
    text = f"{value:.2f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
