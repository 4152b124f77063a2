"""Quantities and quotes on paper: for the office with costs, for the client without."""

from decimal import Decimal

from drivers.lengths import Units
from logger.catalogue import Catalogue
from logger.measures import amount, both, length, sign
from logger.profile import Profile
from logger.quote import Quote
from logger.sheets import cautions
from logger.sheets.document import Block, Cell, Lines, Sheet, Table
from logger.sheets.head import counts, facts, foot
from logger.steps.option import Option
from logger.takeoff import Line, TakeOff


def quantities_sheet(profile: Profile, option: Option, taken: TakeOff, units: Units) -> Sheet:
    """What to order and move for one layout."""
    blocks: list[Block] = [_lines("Quantities", taken, money=taken.total is not None)]
    if taken.total is not None:
        said = f"; without a price: {', '.join(taken.unpriced)}" if taken.unpriced else ""
        blocks.append(Lines("Total", (f"{_money(taken.total, taken.currency)}{said}",)))
    blocks.append(Lines("Before you build", (*cautions.BUILDING, cautions.GOVERNS), boxed=True))
    return Sheet("Quantities", counts(option), facts(profile, units), tuple(blocks), foot(profile))


def office_sheet(
    profile: Profile, option: Option, offers: tuple[Quote, ...], catalogue: Catalogue, *, units: Units
) -> Sheet:
    """Every alternative with its costs."""
    blocks: list[Block] = []
    currency = catalogue.catalogue.currency
    for offer in offers:
        name = offer.alternative or "as listed"
        blocks.append(_lines(f"Quantities, {name}", offer.taken, money=True))
        rows = [(Cell(c.name), Cell(c.how), Cell(_money(c.amount, currency))) for c in offer.costs]
        rows += [
            (Cell("price"), Cell(f"rounded to {catalogue.quote.round_to}"), Cell(_money(offer.price, currency))),
            (Cell(catalogue.quote.tax_name), Cell(""), Cell(_money(offer.tax, currency))),
            (Cell("total"), Cell(f"{offer.hours:.1f} hours of labour in all"), Cell(_money(offer.total, currency))),
        ]
        blocks.append(Table(f"Calculation, {name}", ("", "How", "Amount"), tuple(rows), strong=(2,)))
        if offer.unpriced:
            blocks.append(Lines("Without a price, not in the sum", offer.unpriced))
    return Sheet(
        "Quote: office sheet",
        counts(option),
        facts(profile, units),
        tuple(blocks),
        foot(profile),
        catalogue.quote.maker,
    )


def client_sheet(
    profile: Profile, option: Option, offers: tuple[Quote, ...], catalogue: Catalogue, *, units: Units
) -> Sheet:
    """What the client gets: what is built, the price of each alternative, what is excluded, for how long it holds."""
    currency, terms = catalogue.catalogue.currency, catalogue.quote
    heads = ("", *(offer.alternative or "as listed" for offer in offers))
    rows = tuple(
        (Cell(name), *(Cell(_money(getattr(offer, pick), currency)) for offer in offers))
        for name, pick in (("Price", "price"), (terms.tax_name.capitalize(), "tax"), ("Total", "total"))
    )
    included = [
        f"{line.item}: {both(amount(line.quantity, line.unit))}"
        for line in offers[0].taken.lines
        if line.amount is not None
    ]
    blocks: list[Block] = [
        Lines("What is built", _built(option, units)),
        Table("What it costs", heads, rows, strong=tuple(range(1, len(heads)))),
        Lines(f"Included{', ' + (offers[0].alternative or 'as listed') if len(offers) > 1 else ''}", tuple(included)),
    ]
    # What the take-off calls for and nobody priced is not in the sum: the client has to read it here.
    unpriced = tuple(f"{name}: no price in this quote" for name in dict.fromkeys(n for o in offers for n in o.unpriced))
    if terms.excluded or unpriced:
        blocks.append(Lines("Not included", (*terms.excluded, *unpriced)))
    if terms.valid:
        blocks.append(Lines("Valid", (terms.valid,)))
    blocks.append(Lines("Please note", (*cautions.guards(option), *cautions.CLIENT, cautions.GOVERNS), boxed=True))
    return Sheet("Quote", counts(option), facts(profile, units), tuple(blocks), foot(profile), terms.maker)


def _built(option: Option, units: Units) -> tuple[str, ...]:
    faces = sorted({both(length(face, units)) for face in option.faces_m})
    treads = f"treads {both(length(option.tread_m, units))} deep"
    fall = f"falling {option.fall * 100:.1f} % to the front for drainage"
    return f"{counts(option)}, every face {' or '.join(faces)}", f"{treads}, {fall}"


def _lines(title: str, taken: TakeOff, *, money: bool) -> Table:
    def row(line: Line) -> tuple[Cell, ...]:
        cells = (Cell(line.item), Cell(*amount(line.quantity, line.unit)), Cell(line.how))
        if not money:
            return cells
        price = "–" if line.price is None else f"{_money(line.price, taken.currency)} / {sign(line.unit)}"
        cost = "–" if line.amount is None else _money(line.amount, taken.currency)
        return (*cells, Cell(price), Cell(cost))

    heads = ("Item", "Quantity", "How it came about", *(("Price", "Amount") if money else ()))
    return Table(title, heads, tuple(row(line) for line in taken.lines), strong=(1,))


def _money(amount: Decimal, currency: str) -> str:
    return f"{currency}{amount:,.2f}"
