"""Quantities and quotes on paper: for the office with costs, for the client without."""

from collections.abc import Iterator
from decimal import Decimal

from drivers.lengths import Units
from logger.catalogue import Catalogue
from logger.measures import Pair, amount, both, customary, length, sign
from logger.profile import Profile
from logger.quote import Quote
from logger.sheets import cautions
from logger.sheets.document import Block, Cell, Lines, Sheet, Table
from logger.sheets.head import counts, facts, foot
from logger.steps.option import Option
from logger.takeoff import SI, Line, TakeOff

WASTE = (
    "Waste is what the catalogue says, nothing where it says nothing. Usual (from memory): pavers 5 % laid straight, "
    "10 % with cuts; aggregates 5 to 10 %."
)
ISSUED, BLANK = "Date of issue", "____________"


def quantities_sheet(profile: Profile, option: Option, taken: TakeOff, units: Units) -> Sheet:
    """What to order and move for one layout."""
    blocks: list[Block] = [_lines("Quantities", taken, units, money=taken.total is not None)]
    if taken.total is not None:
        said = f"; without a price: {', '.join(taken.unpriced)}" if taken.unpriced else ""
        blocks.append(Lines("Total", (f"{_money(taken.total, taken.currency)}{said}",)))
    blocks.append(Lines("Before you build", (*cautions.BUILDING, cautions.GOVERNS), boxed=True))
    return Sheet("Quantities", counts(option), facts(profile, units), tuple(blocks), foot(profile, units))


def office_sheet(
    profile: Profile, option: Option, offers: tuple[Quote, ...], catalogue: Catalogue, *, units: Units
) -> Sheet:
    """Every alternative with its costs, side by side, then what each of them needs."""
    blocks: list[Block] = [_calculation(offers, catalogue)]
    for offer in offers:
        name = catalogue.called(offer.alternative)
        blocks.append(_lines(f"Quantities, {name}", offer.taken, units, money=True))
        if offer.unpriced:
            blocks.append(Lines(f"Without a price, not in the sum, {name}", (", ".join(offer.unpriced),)))
    blocks.append(Lines("Not included", catalogue.quote.excluded))
    blocks.append(Lines("Please note", (*cautions.guards(option), *cautions.CLIENT, cautions.GOVERNS), boxed=True))
    return _quoted("Quote: office sheet", (profile, option), tuple(blocks), catalogue, units=units)


def client_sheet(
    profile: Profile, option: Option, offers: tuple[Quote, ...], catalogue: Catalogue, *, units: Units
) -> Sheet:
    """What the client gets: what is built, the price of each alternative, what is excluded, for how long it holds."""
    currency, terms = catalogue.catalogue.currency, catalogue.quote
    names = [catalogue.called(offer.alternative) for offer in offers]
    rows = tuple(
        (Cell(name), *(Cell(_money(getattr(offer, pick), currency)) for offer in offers))
        for name, pick in (("Price", "price"), (terms.tax_name.capitalize(), "tax"), ("Total", "total"))
    )
    blocks: tuple[Block, ...] = (
        Lines("What is built", _built(option, units)),
        Table("What it costs", ("", *names), rows, strong=tuple(range(1, len(names) + 1))),
        *_included(offers, catalogue),
        # What the take-off calls for and nobody priced is not in the sum: the client has to read it here.
        Lines("Not included", (*terms.excluded, *_not_priced(offers, catalogue))),
        Lines("Valid", (terms.valid,) if terms.valid else ()),
        Lines("Please note", (*cautions.guards(option), *cautions.CLIENT, cautions.GOVERNS), boxed=True),
    )
    return _quoted("Quote", (profile, option), blocks, catalogue, units=units)


def _quoted(
    title: str, job: tuple[Profile, Option], blocks: tuple[Block, ...], catalogue: Catalogue, *, units: Units
) -> Sheet:
    """A sheet of a quote; the date of issue is written by hand where it was not told."""
    profile, option = job
    told = (*facts(profile, units), (ISSUED, BLANK))
    return Sheet(title, counts(option), told, blocks, foot(profile, units), catalogue.quote.maker)


def _calculation(offers: tuple[Quote, ...], catalogue: Catalogue) -> Table:
    """Costs and what follows from them, one column an alternative, each amount with how it came about."""
    currency, terms = catalogue.catalogue.currency, catalogue.quote
    names = dict.fromkeys(cost.name for offer in offers for cost in offer.costs)
    rows = []
    for name in names:
        found = [next((c for c in offer.costs if c.name == name), None) for offer in offers]
        rows.append((Cell(name), *(Cell("–") if c is None else Cell(_money(c.amount, currency), c.how) for c in found)))
    rows += [
        (Cell("price"), *(Cell(_money(o.price, currency), f"rounded to {terms.round_to}") for o in offers)),
        (Cell(terms.tax_name), *(Cell(_money(o.tax, currency)) for o in offers)),
        (Cell("total"), *(Cell(_money(o.total, currency), f"{o.hours:.1f} hours of labour in all") for o in offers)),
    ]
    heads = ("", *(catalogue.called(offer.alternative) for offer in offers))
    return Table("Calculation", heads, tuple(rows), strong=tuple(range(1, len(heads))))


def _included(offers: tuple[Quote, ...], catalogue: Catalogue) -> Iterator[Lines]:
    """What the first alternative holds, and what the others hold instead; sums by their names alone."""
    sums = tuple(entry.name for entry in catalogue.quote.sums if entry.amount)
    first = _priced(offers[0])
    several = f", {catalogue.called(offers[0].alternative)}" if len(offers) > 1 else ""
    yield Lines(f"Included{several}", (*first, *sums))
    for offer in offers[1:]:
        mine = _priced(offer)
        name = catalogue.called(offer.alternative)
        instead = [f"instead of it: {line}" for line in mine if line not in first]
        without = [f"without: {line}" for line in first if line not in mine]
        yield Lines(f"Otherwise with {name}", (*without, *instead))


def _priced(offer: Quote) -> tuple[str, ...]:
    return tuple(
        f"{line.item}: {both(amount(line.quantity, line.unit))}"
        for line in offer.taken.lines
        if line.amount is not None
    )


def _not_priced(offers: tuple[Quote, ...], catalogue: Catalogue) -> Iterator[str]:
    """What nobody priced, by the alternatives in which it has no price."""
    lacking: dict[tuple[str, ...], list[str]] = {}
    for name in dict.fromkeys(name for offer in offers for name in offer.unpriced):
        where = tuple(catalogue.called(offer.alternative) for offer in offers if name in offer.unpriced)
        lacking.setdefault(where, []).append(name)
    for where, names in lacking.items():
        only = "" if len(where) == len(offers) else f", {' and '.join(where)}"
        yield f"no price in this quote{only}: {', '.join(names)}"


def _built(option: Option, units: Units) -> tuple[str, ...]:
    faces = sorted({both(length(face, units)) for face in option.faces_m})
    treads = f"treads {both(length(option.tread_m, units))} deep"
    fall = f"falling {option.fall * 100:.1f} % to the front for drainage"
    return f"{counts(option)}, every face {' or '.join(faces)}", f"{treads}, {fall}"


def _lines(title: str, taken: TakeOff, units: Units, *, money: bool) -> Table:
    def row(line: Line) -> tuple[Cell, ...]:
        cells = (Cell(line.item), Cell(*_quantity(line, units)), Cell(line.how))
        if not money:
            return cells
        price = "–" if line.price is None else f"{_money(line.price, taken.currency)} / {sign(line.unit)}"
        cost = "–" if line.amount is None else _money(line.amount, taken.currency)
        return (*cells, Cell(price), Cell(cost))

    heads = ("Item", "Quantity", "How it came about", *(("Price", "Amount") if money else ()))
    return Table(title, heads, tuple(row(line) for line in taken.lines), strong=(1,), note=WASTE)


def _quantity(line: Line, units: Units) -> Pair:
    """What is ordered, as it is sold; what nobody sells, in the units of the job."""
    pair = amount(line.quantity, line.unit)
    return pair[::-1] if line.price is None and pair[1] and customary(units) and line.unit in SI.values() else pair


def _money(amount: Decimal, currency: str) -> str:
    return f"{currency}{amount:,.2f}"
