"""Quantities and money: by hand, and against an independent computation with fractions."""

import math
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from drivers.lengths import Units, length_m
from logger.catalogue import PER, Catalogue, Use, parse_catalogue, read_catalogue
from logger.construction import Construction
from logger.earthworks import Soil, dig
from logger.errors import WrongFile
from logger.needs import Need, exact, needs
from logger.profile import Profile
from logger.quote import quotes
from logger.setout import marks_of
from logger.sheets.money import client_sheet
from logger.sheets.text import plain_text
from logger.steps.option import Option
from logger.takeoff import take_off

FIXTURE = Path(__file__).parents[3] / "tui" / "demo" / "catalogue.toml"


@pytest.fixture
def wanted(slope: Profile, option: Option, build: Construction) -> tuple[Need, ...]:
    full = replace(
        build, cheek_m=0.2, cheek_buried_m=0.3, drain=True, outlet_m=3.0, lights=1, geotextile=True, handrails=1
    )
    plan = marks_of(slope, option, full)
    return needs(plan, dig(slope, plan, full, Soil()), full)


def need(wanted: tuple[Need, ...], use: Use) -> Need:
    return next(n for n in wanted if n.use is use)


def catalogue(item: str, more: str = "") -> Catalogue:
    return parse_catalogue(f"[[item]]\n{item}\n{more}", Path("list.toml"))


def test_net_quantities_by_hand(wanted: tuple[Need, ...]) -> None:
    assert need(wanted, Use.UNIT).rows == 4, "three risers and a buried row"
    assert need(wanted, Use.CAP).rows == 2, "the landing has no cap"
    assert need(wanted, Use.PAVER).quantity == Decimal("1.4400")
    assert need(wanted, Use.PIPE).quantity == Decimal("1.2") + Decimal("0.4") + 4 + 3
    assert need(wanted, Use.STONE).quantity == Decimal("0.798966144"), "8.6 m of trench, a foot square"
    assert need(wanted, Use.LIGHT).quantity == 3
    rise = 0.6 - 0.02 * 0.4
    assert float(need(wanted, Use.HANDRAIL).quantity) == pytest.approx(math.hypot(2.0, rise) + 0.3048 + 0.4, abs=1e-4)


def test_geotextile_goes_up_from_bench_to_bench(slope: Profile, option: Option, build: Construction) -> None:
    lined = replace(build, geotextile=True, landing=build.tread, first=build.tread, lap_m=0.3)
    plan = marks_of(slope, option, lined)
    flat = needs(plan, dig(slope, plan, lined, Soil()), lined)
    # Two benches up by one face each, 2 m long, 1.2 m wide, 15 cm of base up all four sides, 30 cm of lap.
    by_hand = (2.0 + 2 * option.face_m + 0.3 + 0.3) * (1.2 + 0.3)
    assert float(need(flat, Use.GEOTEXTILE).quantity) == pytest.approx(by_hand, abs=1e-4)
    assert "from bench to bench" in need(flat, Use.GEOTEXTILE).how


def test_base_and_bedding_stand_by_volume_and_by_mass_with_how_that_is_known(wanted: tuple[Need, ...]) -> None:
    # 2.1 to 2.3 t/m3 for dense crushed base in place, 1.7 to 1.9 for bedding sand: both from memory.
    for use, least, most in ((Use.BASE, 2.1, 2.3), (Use.BEDDING, 1.7, 1.9)):
        m3 = float(need(wanted, use).quantity)
        assert f"{least * m3:.2f} to {most * m3:.2f} t (" in need(wanted, use).how
        assert "(from memory)" in need(wanted, use).how


def test_pieces_in_rows_are_counted_with_their_cuts(wanted: tuple[Need, ...]) -> None:
    item = 'use = "unit"\nname = "block"\nper = "each"\nprice = "10"\nlength = "50 cm"'
    line = next(x for x in take_off(wanted, catalogue(item)).lines if x.use is Use.UNIT)
    assert (line.quantity, line.amount) == (4 * 3, Decimal("120.00")), "1.2 m takes three of 0.5 m"
    assert "one cut in each row" in line.how
    whole = catalogue(item.replace("50 cm", "40 cm"))
    assert "cut" not in next(x for x in take_off(wanted, whole).lines if x.use is Use.UNIT).how


def test_joints_between_pieces_take_their_share_of_a_row(slope: Profile, option: Option, build: Construction) -> None:
    jointed = replace(build, joint_m=0.005)
    plan = marks_of(slope, option, jointed)
    rows = needs(plan, dig(slope, plan, jointed, Soil()), jointed)
    item = 'use = "unit"\nname = "block"\nper = "each"\nlength = "39.67 cm"'
    line = next(x for x in take_off(rows, catalogue(item)).lines if x.use is Use.UNIT)
    # Three of 39.67 cm and two joints of 5 mm make 120.01 cm: a row of 1.2 m; without the joints it would take four.
    assert line.quantity == 4 * 3


def test_bought_loose_or_by_mass_and_in_whole_packs(wanted: tuple[Need, ...]) -> None:
    base = need(wanted, Use.BASE).quantity
    by_volume = catalogue('use = "base"\nname = "crushed"\nper = "m3"\nprice = "40"')
    line = next(x for x in take_off(wanted, by_volume).lines if x.use is Use.BASE)
    assert line.net == (base * Decimal("1.2")).quantize(Decimal("0.0001"))
    by_mass = catalogue(
        'use = "base"\nname = "crushed"\nper = "t"\nprice = "30"\ndensity = "2200"\npack = "0.5"\nwaste = "10 %"'
    )
    line = next(x for x in take_off(wanted, by_mass).lines if x.use is Use.BASE)
    tonnes = Fraction(base) * 2200 / 1000 * Fraction(11, 10)
    assert Fraction(line.quantity) == math.ceil(tonnes / Fraction(1, 2)) * Fraction(1, 2)
    assert line.amount == line.quantity * 30
    assert line.mass_kg == line.quantity * 1000


@pytest.mark.parametrize(
    ("piece", "joint", "count"), [("4 in", "3/8 in", 4), ("6 7/8 in", "0 in", 8), ("7 7/8 in", "1/8 in", 5)]
)
def test_pieces_that_fill_a_row_are_no_more_than_fill_it(
    wanted: tuple[Need, ...], piece: str, joint: str, count: int
) -> None:
    """A sixteenth of an inch is 1.5875 mm: rounded to a tenth of a millimetre one more piece would be bought a row."""
    long, apart = length_m(piece), length_m(joint)
    row = replace(need(wanted, Use.UNIT), row=exact(count * long + (count - 1) * apart), joint=exact(apart))
    item = f'use = "unit"\nname = "block"\nper = "each"\nlength = "{piece}"'
    (line,) = take_off((row,), catalogue(item)).lines
    assert line.quantity == row.rows * count
    assert "cut" not in line.how


def test_units_of_the_trade_are_exact() -> None:
    assert PER["ft2"][1] == Decimal("0.09290304")
    assert PER["yd3"][1] == Decimal("0.764554857984")
    assert PER["ton"][1] == 2000 * PER["lb"][1]


def test_without_a_catalogue_quantities_stand_alone(wanted: tuple[Need, ...]) -> None:
    taken = take_off(wanted)
    assert taken.total is None
    assert len(taken.unpriced) == len(taken.lines) == len(wanted)


def test_sold_by_a_measure_nothing_leads_to(wanted: tuple[Need, ...]) -> None:
    with pytest.raises(WrongFile, match="give it a length or a density"):
        take_off(wanted, catalogue('use = "base"\nname = "crushed"\nper = "t"\nprice = "30"'))


def test_the_invented_list_reads_and_has_its_alternatives() -> None:
    shop = read_catalogue(FIXTURE)
    assert shop.alternatives == ("", "natural stone")
    assert shop.item_for(Use.UNIT, "natural stone").name.startswith("Split sandstone")
    assert shop.item_for(Use.UNIT).name.startswith("Grey block")


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ('use = "unit"\nname = "a"\nprice = "3"', "without `per`"),
        ('use = "unit"\nname = "a"\nprice = "three"\nper = "each"', "not a number"),
        ('use = "unit"\nname = "a"\nprice = "-3"\nper = "each"', "item 1: price: must be at least 0"),
        ('use = "unit"\nname = "a"\nprice = "nan"\nper = "each"', "not a finite number"),
        ('use = "unit"\nname = "a"\nper = "dozen"', "'dozen' is not one of"),
        ('use = "unit"\nname = "a"\n[[item]]\nuse = "cap"\nname = "a"', "there twice"),
        ('use = "unit"\nname = "a"\n[[item]]\nuse = "unit"\nname = "b"', "two items serve as 'unit'"),
        ('use = "unit"\nname = "a"\ncolour = "grey"', "item 1: colour: there is no such field"),
        ('use = "unit"\nname = "a"\nlength = "-2 ft"', "item 1: length"),
        ('use = "unit"\nname = "a"\nlength = "0.0001 mm"', "item 1: length"),
        ('use = "unit"\nname = "a"\nper = "each"\npack = "1e-30"', "item 1: pack"),
        ('use = "unit"\nname = "a"\nper = "each"\nprice = "1e30"', "item 1: price"),
        ('use = "unit"', "item 1: name: is missing"),
        ('use = "unit"\nname = "a"\nwaste = 5', 'waste: 5 would be 500 %: write it with its sign, such as "5 %"'),
    ],
)
def test_mistakes_are_named(item: str, said: str) -> None:
    with pytest.raises(WrongFile) as caught:
        catalogue(item)
    assert any(said in mistake for mistake in caught.value.mistakes), caught.value.mistakes


def test_all_mistakes_at_once() -> None:
    with pytest.raises(WrongFile) as caught:
        catalogue('use = "brick"\nname = ""\nper = "each"\nprice = "x"', '[quote]\ntax = "-1"')
    assert len(caught.value.mistakes) == 4


def test_csv_catalogue_reads_the_same() -> None:
    text = "use,name,per,price,length\nunit,block,each,12.50,4 ft\nbase,crushed,m3,40,\n"
    shop = parse_catalogue(text, Path("list.csv"))
    assert shop.item_for(Use.UNIT).price == Decimal("12.50")
    with pytest.raises(WrongFile, match="beyond the header"):
        parse_catalogue(text + "cap,slab,each,1,1 ft,what\n", Path("list.csv"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("use;name;per;price\nunit;block;each;1,50\n", "save it with commas"),
        ("use,name,per,price,price\nunit,block,each,1,2\n", "line 1: column price stands there twice"),
        ("", "it is empty: a first line with"),
    ],
)
def test_a_csv_that_would_have_to_be_guessed_at_is_a_sentence(text: str, said: str) -> None:
    with pytest.raises(WrongFile, match=said):
        parse_catalogue(text, Path("list.csv"))


def test_csv_with_terms_of_its_own(tmp_path: Path, wanted: tuple[Need, ...]) -> None:
    items, terms = tmp_path / "yard.csv", tmp_path / "terms.toml"
    items.write_text("use,name,per,price,length\nunit,block,each,12.50,40 cm\n")
    terms.write_text('[catalogue]\ncurrency = "€"\n[quote]\nmargin = "20 %"\ntax = "19 %"\n')
    shop = read_catalogue(items, terms)
    assert shop.catalogue.currency == "€"
    (offer,) = quotes(wanted, shop)
    assert (offer.price, offer.tax) == (Decimal("180.00"), Decimal("34.20")), "12 blocks of 12.50, and a fifth more"
    terms.write_text('[[item]]\nuse = "cap"\nname = "slab"\n')
    with pytest.raises(WrongFile, match="items belong in the catalogue"):
        read_catalogue(items, terms)


def test_a_mistake_in_a_csv_is_told_by_its_line() -> None:
    text = 'use,name,per,price\nunit,"grey\nblock",each,12.50\ncap,slab,each,dear\n'
    with pytest.raises(WrongFile, match="line 4: price: 'dear' is not a number"):
        parse_catalogue(text, Path("list.csv"))


def test_csv_that_is_not_is_a_sentence() -> None:
    with pytest.raises(WrongFile, match="not CSV"):
        parse_catalogue('use,name\nunit,"open\n', Path("list.csv"))


def test_escape_codes_in_names_are_shown_and_not_obeyed(
    slope: Profile, option: Option, wanted: tuple[Need, ...]
) -> None:
    shop = catalogue('use = "unit"\nname = "a\\u001b[2Jb"\nper = "each"\nprice = "1"\nlength = "40 cm"')
    text = plain_text(client_sheet(slope, option, quotes(wanted, shop), shop, units=Units.METRES))
    assert "\x1b" not in text
    assert "a\\x1b[2Jb" in text
