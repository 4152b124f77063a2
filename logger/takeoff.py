"""Quantities: what is needed, rounded up to what is sold, and what it costs, in exact decimals."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal

from logger.catalogue import PER, Catalogue, Item, Kind, Use
from logger.errors import WrongFile
from logger.measures import both, density, length, short, sign
from logger.needs import Need, exact

CENT = Decimal("0.01")
NET = Decimal("0.0001")
"""Net quantities are shown to four places."""
SI = {Kind.COUNT: "each", Kind.LENGTH: "m", Kind.AREA: "m2", Kind.VOLUME: "m3", Kind.MASS: "kg"}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the take-off: `quantity` is what is ordered, in `unit`; money is None without a price."""

    use: Use
    item: str
    quantity: Decimal
    unit: str
    net: Decimal
    waste: Decimal
    how: str
    price: Decimal | None = None
    amount: Decimal | None = None
    mass_kg: Decimal | None = None
    hours: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class TakeOff:
    """All lines of one alternative; `total` sums the amounts, None where nothing has a price."""

    lines: tuple[Line, ...]
    total: Decimal | None
    currency: str
    alternative: str
    unpriced: tuple[str, ...]


def take_off(wanted: tuple[Need, ...], catalogue: Catalogue | None = None, alternative: str = "") -> TakeOff:
    """The needs rounded up to what is sold, and priced where the catalogue has a price.

    WrongFile names the items that are sold by a measure the need cannot be turned into.
    """
    catalogue = catalogue or Catalogue()
    if mistakes := list(_without_a_way(wanted, catalogue, alternative)):
        raise WrongFile(catalogue.source, mistakes)
    lines = tuple(_line(need, catalogue.item_for(need.use, alternative)) for need in wanted)
    amounts = [line.amount for line in lines if line.amount is not None]
    return TakeOff(
        lines=lines,
        total=sum(amounts, Decimal(0)) if amounts else None,
        currency=catalogue.catalogue.currency,
        alternative=alternative,
        unpriced=tuple(line.item for line in lines if line.amount is None),
    )


def _line(need: Need, item: Item | None) -> Line:
    if item is None or item.per is None:
        name, waste = (need.use.value, Decimal(0)) if item is None else (item.name, item.waste)
        net, how = _net(need, item)
        quantity = (net * (1 + waste)).quantize(CENT, ROUND_CEILING)
        return Line(need.use, name, quantity, SI[need.kind], net.quantize(NET), waste, how)
    net, how = _net(need, item)
    kind, size = PER[item.per]
    net, how = _converted(net, need, item, how)
    in_units = net / size
    pack = item.pack or (Decimal(1) if kind is Kind.COUNT else None)
    wanted = in_units * (1 + item.waste)
    if item.waste:
        how += f"; {short(item.waste * 100)} % waste"
    if pack is None:
        quantity = wanted.quantize(CENT, ROUND_CEILING)
    else:
        packs = (wanted / pack).to_integral_value(ROUND_CEILING)
        quantity = packs * pack
        if pack != 1:
            how += f"; sold in {item.sold_as or 'packs'} of {short(pack)} {sign(item.per)}: {packs}"
    amount = None if item.price is None else (quantity * item.price).quantize(CENT, ROUND_HALF_EVEN)
    mass = _mass(quantity, item)
    return Line(
        need.use,
        item.name,
        quantity,
        item.per,
        in_units.quantize(NET),
        item.waste,
        how,
        item.price,
        amount,
        mass,
        quantity * item.hours,
    )


def _net(need: Need, item: Item | None) -> tuple[Decimal, str]:
    """The net quantity in SI: pieces where the length of a piece is known and they are laid in rows."""
    if need.rows and item is not None and item.length is not None and item.per == "each":
        piece = exact(item.length)
        each = ((need.row + need.joint) / (piece + need.joint)).to_integral_value(ROUND_CEILING)
        cuts = "" if each * (piece + need.joint) == need.row + need.joint else ", one cut in each row"
        row, long = (both(length(float(metres), need.units)) for metres in (need.row, piece))
        return each * need.rows, f"{need.how}; rows of {row}: {each} of {long} in each{cuts}"
    return need.quantity, need.how


def _converted(net: Decimal, need: Need, item: Item, how: str) -> tuple[Decimal, str]:
    """The net quantity in the SI unit the item is sold by."""
    assert item.per is not None
    kind = PER[item.per][0]
    if need.kind is Kind.VOLUME and kind is Kind.MASS and item.density is not None:
        return net * item.density, f"{how}; {density(item.density, need.units)} as placed"
    if kind is Kind.VOLUME and need.loose != 1:
        return net * need.loose, f"{how}; loose over compacted {short(need.loose)}"
    if need.kind is Kind.LENGTH and kind is Kind.COUNT and not need.rows and item.length is not None:
        pieces = (net / exact(item.length)).to_integral_value(ROUND_CEILING)
        return pieces, f"{how}; pieces of {both(length(item.length, need.units))}"
    return net, how


def _without_a_way(wanted: tuple[Need, ...], catalogue: Catalogue, alternative: str) -> Iterator[str]:
    """Items that are sold by a measure nothing leads to from what is needed."""
    for need in wanted:
        item = catalogue.item_for(need.use, alternative)
        if item is None or item.per is None:
            continue
        kind = PER[item.per][0]
        counted = need.kind is Kind.LENGTH and kind is Kind.COUNT and item.length is not None
        weighed = need.kind is Kind.VOLUME and kind is Kind.MASS and item.density is not None
        if kind is not need.kind and not counted and not weighed:
            yield (
                f"{item.name!r} is sold by {item.per}, and {need.use.value} is counted in {SI[need.kind]}: "
                "give it a length or a density, or sell it by another measure"
            )


def _mass(quantity: Decimal, item: Item) -> Decimal | None:
    if item.mass is not None:
        return quantity * item.mass
    kind, size = PER[item.per or "each"]
    return quantity * size if kind is Kind.MASS else None
