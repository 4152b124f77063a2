"""Quantities: what has to be bought, moved and taken away for one layout, and how each figure came about.

Lengths become exact decimals once, rounded to a tenth of a millimetre; from there on every sum is in `Decimal`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from math import hypot

from logger.catalogue import PER, Catalogue, Item, Kind, Use
from logger.construction import Construction, Part
from logger.earthworks import Earthworks
from logger.errors import WrongFile
from logger.setout import Mark, SetOut

TENTH_MM = Decimal("0.0001")
CENT = Decimal("0.01")
SI = {Kind.COUNT: "each", Kind.LENGTH: "m", Kind.AREA: "m2", Kind.VOLUME: "m3", Kind.MASS: "kg"}
DRAIN_SIDE_M = 0.3
"""Width and depth of the drainage stone around a pipe: 12 in (common practice)."""


@dataclass(frozen=True, slots=True)
class Need:
    """A net requirement in SI: `rows` of `row` metres where pieces are laid side by side, else just a quantity.

    `loose` is what a compacted volume grows to when it is bought loose.
    """

    use: Use
    quantity: Decimal
    kind: Kind
    how: str
    rows: int = 0
    row: Decimal = Decimal(0)
    loose: Decimal = Decimal(1)


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


def exact(value: float) -> Decimal:
    """A length, area or volume as a decimal, rounded once to four places."""
    return Decimal(repr(value)).quantize(TENTH_MM, ROUND_HALF_EVEN)


def _count(number: int, name: str) -> str:
    return f"{number} {name}{'' if number == 1 else 's'}"


def _short(value: Decimal) -> str:
    """A figure without the zeros at its end."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def needs(plan: SetOut, work: Earthworks, build: Construction) -> tuple[Need, ...]:
    """Everything one layout needs, in the order of the work."""
    if missing := build.missing():
        raise WrongFile(build.source, missing)
    made = (_digging, _base, _units, _landings, _walls, _drains, _fittings)
    return tuple(need for make in made for need in make(plan, work, build) if need.quantity > 0)


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
        quantity = (net * (1 + waste)).quantize(TENTH_MM, ROUND_CEILING)
        return Line(need.use, name, quantity, SI[need.kind], net, waste, how)
    net, how = _net(need, item)
    kind, size = PER[item.per]
    net, how = _converted(net, need, item, how)
    in_units = net / size
    pack = item.pack or (Decimal(1) if kind is Kind.COUNT else None)
    wanted = in_units * (1 + item.waste)
    if item.waste:
        how += f"; {_short(item.waste * 100)} % waste"
    if pack is None:
        quantity = wanted.quantize(CENT, ROUND_CEILING)
    else:
        packs = (wanted / pack).to_integral_value(ROUND_CEILING)
        quantity = packs * pack
        if pack != 1:
            how += f"; {packs} whole {item.sold_as or 'packs'} of {_short(pack)} {item.per}"
    amount = None if item.price is None else (quantity * item.price).quantize(CENT, ROUND_HALF_EVEN)
    mass = _mass(quantity, item)
    return Line(
        need.use,
        item.name,
        quantity,
        item.per,
        in_units.quantize(TENTH_MM),
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
        each = (need.row / piece).to_integral_value(ROUND_CEILING)
        cuts = "" if each * piece == need.row else ", one cut in each row"
        return (
            each * need.rows,
            f"{_count(need.rows, 'row')} of {_short(need.row)} m: {each} of {_short(piece)} m in each{cuts}",
        )
    return need.quantity, need.how


def _converted(net: Decimal, need: Need, item: Item, how: str) -> tuple[Decimal, str]:
    """The net quantity in the SI unit the item is sold by."""
    assert item.per is not None
    kind = PER[item.per][0]
    if need.kind is Kind.VOLUME and kind is Kind.MASS and item.density is not None:
        return net * item.density, f"{how}; {_short(item.density)} kg per m3 as placed"
    if kind is Kind.VOLUME and need.loose != 1:
        return net * need.loose, f"{how}; loose over compacted {_short(need.loose)}"
    if need.kind is Kind.LENGTH and kind is Kind.COUNT and not need.rows and item.length is not None:
        pieces = (net / exact(item.length)).to_integral_value(ROUND_CEILING)
        return pieces, f"{how}; pieces of {_short(exact(item.length))} m"
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


Make = Callable[[SetOut, Earthworks, Construction], Iterator[Need]]


def _digging(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    volumes, size = work.volumes, f"{work.length_m:.2f} m by {work.width_m:.2f} m"
    yield Need(Use.DIGGING, exact(volumes.cut_m3), Kind.VOLUME, f"ground to subgrade over {size}, in the bank")
    yield Need(Use.TOPSOIL, exact(volumes.topsoil_m3), Kind.VOLUME, "stripped first and kept apart, in the bank")
    yield Need(Use.FILL, exact(volumes.fill_m3), Kind.VOLUME, "below the subgrade, compacted")
    yield Need(Use.DISPOSAL, exact(work.spoil_loose_m3), Kind.VOLUME, f"loose; {work.spoil_bank_m3:.2f} m3 in the bank")


def _base(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    how = f"under {work.subgrade_area_m2:.2f} m2, compacted"
    yield Need(Use.BASE, exact(work.base_m3), Kind.VOLUME, how, loose=exact(build.loose))
    yield Need(Use.BEDDING, exact(work.bedding_m3), Kind.VOLUME, "under every unit, as screeded")
    if build.geotextile:
        up = 2 * (build.tread.base_m or 0.0)
        length = work.length_m + up + build.lap_m
        area = length * (work.width_m + up)
        yield Need(
            Use.GEOTEXTILE,
            exact(area),
            Kind.AREA,
            f"subgrade, up the sides of the base, and a lap of {build.lap_m:.2f} m",
        )


def _units(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    assert build.width_m is not None
    row = exact(build.width_m)
    counts = [_rows(mark, build) for mark in plan.marks]
    rows, buried = sum(counts), 1 if build.first.bury_m > 0 else 0
    how = f"{_count(len(plan.marks), 'riser')}, {_count(rows, 'row')}" + (
        ", 1 buried row at the foot" if buried else ""
    )
    yield Need(Use.UNIT, row * (rows + buried), Kind.LENGTH, how, rows + buried, row)
    capped = sum(n for mark, n in zip(plan.marks, counts, strict=True) if build.layers(mark.part).cap_m > 0)
    yield Need(Use.CAP, row * capped, Kind.LENGTH, f"{_count(capped, 'row')} capped", capped, row)
    beads = build.adhesive_beads * capped
    yield Need(
        Use.ADHESIVE,
        row * beads,
        Kind.LENGTH,
        f"{_count(build.adhesive_beads, 'bead')} under each of {_count(capped, 'row')} of caps",
    )


def _rows(mark: Mark, build: Construction) -> int:
    """Rows of units behind one riser: as deep as the tread, one edge row before a landing or against the grade."""
    if mark.depth_m is None or mark.part is Part.LANDING or build.unit_depth_m is None:
        return 1
    covered = mark.depth_m + build.overhang_m + build.overlap_m
    return max(1, int((covered + build.joint_m - 1e-6) // (build.unit_depth_m + build.joint_m)) + 1)


def _landings(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    assert build.width_m is not None
    edge = 0.0 if build.unit_depth_m is None else build.unit_depth_m - build.overhang_m
    deep = [m.depth_m - edge for m in plan.marks if m.part is Part.LANDING and m.depth_m is not None]
    said = "their whole depth, the edge row is counted apart" if build.unit_depth_m is None else "behind the edge row"
    yield Need(Use.PAVER, exact(sum(deep) * build.width_m), Kind.AREA, f"{_count(len(deep), 'landing')}, {said}")


def _walls(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    if not build.cheek_m:
        return
    exposed = sum(_cheek_area(mark) for mark in plan.marks)
    length = plan.end_station_m - plan.marks[0].face_station_m
    area = 2 * (exposed + build.cheek_buried_m * length)
    yield Need(
        Use.CHEEK,
        exact(area),
        Kind.AREA,
        f"each side {exposed:.2f} m2 in sight, {build.cheek_buried_m:.2f} m buried over {length:.2f} m",
    )


def _cheek_area(mark: Mark) -> float:
    """Side area of one step above the ground, metres squared; where the ground is higher, none."""
    if mark.depth_m is None:
        return 0.0
    ends = [(end.finished_m or 0.0) - (end.ground_m or 0.0) for end in (mark.front, mark.back)]
    return max(0.0, sum(ends) / 2) * mark.depth_m


def _drains(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    if not build.drain:
        return
    assert build.width_m is not None
    run = plan.end_station_m - plan.marks[0].face_station_m
    beside = 2 * run if build.cheek_m else 0.0
    length = build.width_m + 2 * build.cheek_m + beside + build.outlet_m
    how = f"across the head{', behind both cheeks' if beside else ''}, {build.outlet_m:.2f} m to the outlet"
    yield Need(Use.PIPE, exact(length), Kind.LENGTH, how)
    stone = length * DRAIN_SIDE_M**2
    yield Need(Use.STONE, exact(stone), Kind.VOLUME, f"{length:.2f} m of trench {DRAIN_SIDE_M} m square")


def _fittings(plan: SetOut, work: Earthworks, build: Construction) -> Iterator[Need]:
    run = plan.end_station_m - plan.marks[0].face_station_m
    if build.edging and not build.cheek_m:
        yield Need(Use.EDGING, exact(2 * run), Kind.LENGTH, "both sides of the run")
    lights = build.lights * len(plan.marks)
    yield Need(Use.LIGHT, Decimal(lights), Kind.COUNT, f"{build.lights} at each of {len(plan.marks)} risers")
    if build.handrails:
        rise = (plan.marks[-1].front.finished_m or 0.0) - plan.foot_m
        extra = build.handrail_top_m + (plan.marks[0].depth_m or 0.0)
        along = hypot(run, rise) + extra
        yield Need(
            Use.HANDRAIL,
            exact(along * build.handrails),
            Kind.LENGTH,
            f"{build.handrails} up the slope, each {build.handrail_top_m:.2f} m on at the head, a tread at the foot",
        )
