"""Money against an independent computation in fractions, on an invented list and on random ones; what a client sees."""

import math
import re
import shutil
import subprocess
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from html import unescape
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.lengths import Units
from logger.catalogue import Catalogue, Item, Kind, Use, parse_catalogue, read_catalogue
from logger.construction import Construction
from logger.earthworks import Soil, dig
from logger.errors import WrongFile
from logger.needs import Need, needs
from logger.profile import Profile
from logger.quote import Quote, quotes
from logger.setout import marks_of
from logger.sheets.document import Paper
from logger.sheets.html import page
from logger.sheets.money import client_sheet, office_sheet
from logger.sheets.pdf import pdf
from logger.sheets.text import plain_text
from logger.steps.option import Option

FIXTURE = Path(__file__).parents[3] / "tui" / "demo" / "catalogue.toml"
SI_OF = {
    "each": (Kind.COUNT, "1"),
    "m": (Kind.LENGTH, "1"),
    "ft": (Kind.LENGTH, "0.3048"),
    "m2": (Kind.AREA, "1"),
    "ft2": (Kind.AREA, "0.09290304"),
    "yd2": (Kind.AREA, "0.83612736"),
    "m3": (Kind.VOLUME, "1"),
    "yd3": (Kind.VOLUME, "0.764554857984"),
    "kg": (Kind.MASS, "1"),
    "t": (Kind.MASS, "1000"),
    "ton": (Kind.MASS, "907.18474"),
}
"""International yard and pound (1959), exact: 0.9144 m and 0.45359237 kg; the ton has 2000 pounds."""


@pytest.fixture
def wanted(slope: Profile, option: Option, build: Construction) -> tuple[Need, ...]:
    full = replace(build, cheek_m=0.2, drain=True, outlet_m=3.0, lights=1, geotextile=True, handrails=1)
    plan = marks_of(slope, option, full)
    return needs(plan, dig(slope, plan, full, Soil()), full)


def cents(amount: Fraction) -> Fraction:
    """To the nearest cent, halves to the even one."""
    return round(amount * 100) * Fraction(1, 100)


def pieces(need: Need, piece: Fraction) -> int:
    """Pieces for all rows: the least that with the joints between them reach across."""
    count = 1
    while count * piece + (count - 1) * Fraction(need.joint) < Fraction(need.row):
        count += 1
    return count * need.rows


def ordered(need: Need, item: Item) -> Fraction:
    """What is ordered of one item, in the measure it is sold by."""
    kind, size = SI_OF[item.per or ""][0], Fraction(SI_OF[item.per or ""][1])
    net = Fraction(need.quantity)
    if kind is Kind.COUNT and need.kind is Kind.LENGTH:
        piece = Fraction(str(round(item.length or 0, 4)))
        net = Fraction(pieces(need, piece) if need.rows else math.ceil(net / piece))
    elif kind is Kind.MASS:
        net *= Fraction(item.density or 0)
    elif kind is Kind.VOLUME:
        net *= Fraction(need.loose)
    net = net / size * (1 + Fraction(item.waste))
    pack = Fraction(item.pack) if item.pack is not None else Fraction(1 if kind is Kind.COUNT else 0)
    return math.ceil(net / pack) * pack if pack else Fraction(math.ceil(net * 100), 100)


def expected(wanted: tuple[Need, ...], shop: Catalogue, alternative: str) -> tuple[Fraction, Fraction]:
    """Price and total of one alternative."""
    terms, materials, hours, kilograms = shop.quote, Fraction(0), Fraction(0), Fraction(0)
    for need in wanted:
        mine = {item.alternative: item for item in shop.item if item.use is need.use}
        item = mine.get(alternative) or mine.get("")
        if item is None:
            continue
        count = ordered(need, item)
        materials += cents(count * Fraction(item.price or 0))
        hours += count * Fraction(item.hours)
        kind, size = SI_OF[item.per or ""]
        each = Fraction(item.mass) if item.mass is not None else Fraction(size) if kind is Kind.MASS else Fraction(0)
        kilograms += count * each
    labour = Fraction(terms.labour)
    carried = kilograms / 1000 * Fraction(str(round(terms.carry_distance, 4))) * Fraction(terms.carry_hours)
    costs = materials + cents(hours * labour) + cents(carried * labour)
    costs += sum((cents(Fraction(entry.amount)) for entry in terms.sums), Fraction(0))
    for share in (terms.overhead, terms.contingency, terms.margin):
        costs += cents(costs * Fraction(share))
    step = Fraction(terms.round_to)
    price = cents(math.floor(costs / step + Fraction(1, 2)) * step)
    return price, price + cents(price * Fraction(terms.tax))


def test_quote_of_the_invented_list_against_fractions(wanted: tuple[Need, ...]) -> None:
    shop = read_catalogue(FIXTURE)
    plain, stone = quotes(wanted, shop)
    for quote in (plain, stone):
        assert (quote.price, quote.total) == expected(wanted, shop, quote.alternative)
    assert stone.total > plain.total


def figure(least: str, most: str, places: int = 2) -> st.SearchStrategy[str]:
    return st.decimals(Decimal(least), Decimal(most), places=places).map(str)


SOLD = {
    Use.UNIT: ("each", "m", "ft"),
    Use.PAVER: ("m2", "ft2"),
    Use.BASE: ("m3", "yd3", "t", "ton", "kg"),
    Use.BEDDING: ("m3", "yd3", "t"),
    Use.GEOTEXTILE: ("m2", "ft2"),
    Use.PIPE: ("m", "ft", "each"),
    Use.DIGGING: ("m3", "yd3"),
    Use.DISPOSAL: ("m3", "yd3"),
    Use.LIGHT: ("each",),
}


@st.composite
def items(draw: st.DrawFn) -> list[dict[str, object]]:
    found: list[dict[str, object]] = []
    for use in draw(st.lists(st.sampled_from(list(SOLD)), min_size=1, unique=True)):
        for alternative in draw(st.sampled_from([("",), ("", "stone"), ("", "stone", "brick")])):
            item: dict[str, object] = {
                "use": use.value,
                "name": f"{use.value} {alternative}",
                "alternative": alternative,
            }
            item |= {"per": draw(st.sampled_from(SOLD[use])), "price": draw(figure("0", "400"))}
            item |= {"waste": draw(figure("0", "0.3")), "hours": draw(figure("0", "3")), "length": "0.55 m"}
            item |= {"density": draw(figure("1500", "2500", 0))}
            item |= draw(
                st.fixed_dictionaries({}, optional={"pack": figure("0.1", "60"), "mass": figure("0", "300", 1)})
            )
            found.append(item)
    return found


SHARE = figure("0", "0.6", 4)
TERMS = st.fixed_dictionaries(
    {
        "labour": figure("0", "120"),
        "carry_distance": st.just("21.5 m"),
        "carry_hours": figure("0", "0.2", 3),
        "overhead": SHARE,
        "contingency": SHARE,
        "margin": SHARE,
        "tax": SHARE,
        "round_to": st.sampled_from(["0.01", "0.05", "1", "5", "50", "0.03"]),
        "sums": st.lists(
            st.fixed_dictionaries({"name": st.just("permit"), "amount": figure("0", "900", 3)}), max_size=2
        ),
    }
)


@pytest.fixture(scope="module")
def some_needs() -> tuple[Need, ...]:
    """Net quantities made up for the random lists."""
    volume = [(Use.BASE, "1.8473", "1.2"), (Use.BEDDING, "0.2881", "1"), (Use.DIGGING, "6.0119", "1")]
    found = [Need(use, Decimal(q), Kind.VOLUME, "", loose=Decimal(loose)) for use, q, loose in volume]
    found += [Need(Use.DISPOSAL, Decimal("7.3"), Kind.VOLUME, "")]
    found += [Need(Use.PAVER, Decimal("2.4013"), Kind.AREA, ""), Need(Use.GEOTEXTILE, Decimal("13.7"), Kind.AREA, "")]
    found += [Need(Use.PIPE, Decimal("8.6"), Kind.LENGTH, ""), Need(Use.LIGHT, Decimal(7), Kind.COUNT, "")]
    return (
        Need(Use.UNIT, Decimal("16.8"), Kind.LENGTH, "", rows=14, row=Decimal("1.2"), joint=Decimal("0.006")),
        *found,
    )


@settings(max_examples=60, deadline=None)
@given(items(), TERMS)
def test_random_lists_against_fractions(
    some_needs: tuple[Need, ...], listed: list[dict[str, object]], terms: dict[str, object]
) -> None:
    shop = Catalogue.model_validate({"item": listed, "quote": terms})
    for quote in quotes(some_needs, shop):
        assert (quote.price, quote.total) == expected(some_needs, shop, quote.alternative)
        assert quote.total == quote.price + quote.tax


def secret(offers: tuple[Quote, ...], shop: Catalogue) -> set[str]:
    """Every figure that is the office's own: costs, prices of items, rates, shares, hours."""
    terms = shop.quote
    found = {f"{cost.amount:,.2f}" for offer in offers for cost in offer.costs}
    found |= {f"{line.amount:,.2f}" for offer in offers for line in offer.taken.lines if line.amount}
    found |= {f"{item.price}" for item in shop.item if item.price}
    found |= {f"{offer.hours:.1f}" for offer in offers} | {f"{terms.labour}"}
    return found | {f"{share * 100:g} %" for share in map(float, (terms.overhead, terms.contingency, terms.margin))}


WORDS = ("overhead", "margin", "contingency", "labour", "hours", "cost of", "waste", "carrying")


@pytest.mark.parametrize("form", ["text", "html", "pdf"])
def test_the_client_sees_no_cost(
    form: str, slope: Profile, option: Option, wanted: tuple[Need, ...], tmp_path: Path
) -> None:
    shop = read_catalogue(FIXTURE)
    offers = quotes(wanted, shop)
    client, office = (
        shown(form, make(slope, option, offers, shop, units=Units.METRES), tmp_path)
        for make in (client_sheet, office_sheet)
    )
    figures = secret(offers, shop)
    leaked = [figure for figure in figures if re.search(rf"(?<![\d,.]){re.escape(figure)}(?![\d])", client)]
    assert not leaked
    assert not [word for word in WORDS if word in client.lower()]
    assert len([figure for figure in figures if figure in office]) > len(figures) / 2, "the office sees them"
    for offer in offers:
        assert f"${offer.price:,.2f}" in client
        assert f"${offer.total:,.2f}" in client


def shown(form: str, sheet: object, folder: Path) -> str:
    """What a reader of one form of the sheet sees, and what is in the file besides."""
    if form == "text":
        return plain_text(sheet)
    if form == "html":
        return re.sub(r"<style>.*?</style>", "", unescape(page(sheet, Paper.A4)), flags=re.DOTALL)
    pytest.importorskip("typst")
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    file = folder / "quote.pdf"
    file.write_bytes(pdf(sheet, Paper.A4))
    return subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True).stdout


def test_the_client_reads_what_is_included_otherwise_and_not(
    slope: Profile, option: Option, wanted: tuple[Need, ...]
) -> None:
    shop = read_catalogue(FIXTURE)
    text = plain_text(client_sheet(slope, option, quotes(wanted, shop), shop, units=Units.METRES))
    assert re.search(r"grey block +natural stone\n", text), "side by side"
    assert "- permit" in text.split("Included, grey block")[1].split("Otherwise")[0]
    assert "- without: Grey block step" in text.split("Otherwise with natural stone")[1]
    left_out = text.split("Not included")[1].split("Please note")[0]
    assert re.search(r"no price in this quote: .*light", left_out)
    assert "Grey block" not in left_out
    assert "30 days from the date of issue" in text
    assert "Date of issue: ____" in text


def test_a_quote_needs_at_least_one_price(wanted: tuple[Need, ...]) -> None:
    item = '[[item]]\nuse = "unit"\nname = "block"\nper = "each"\nlength = "40 cm"'
    with pytest.raises(WrongFile, match="nothing to quote"):
        quotes(wanted, parse_catalogue(item, Path("list.toml")))
