"""The catalogue a person writes: what is bought, how it is sold, what it costs, and the terms of a quote.

TOML, or CSV with one item a line; currency and terms stand in the same TOML or in one of their own. Money and amounts
are exact decimals; currency is a symbol and nothing else.
"""

import csv
import io
import tomllib
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from drivers.lengths import length_m
from logger.errors import WrongFile

MAX_BYTES = 1_000_000
PLAIN = {
    "missing": "is missing",
    "extra_forbidden": "there is no such field",
    "greater_than_equal": "must be at least {ge}",
    "less_than_equal": "must be at most {le}",
    "less_than": "must be less than {lt}",
    "string_too_short": "must not be empty",
    "string_too_long": "is longer than {max_length} letters",
}
"""Mistakes in our words, by their kind."""


class Use(StrEnum):
    """What an item serves for: the lines of a take-off."""

    UNIT = "unit"
    CAP = "cap"
    PAVER = "paver"
    CHEEK = "cheek"
    BASE = "base"
    BEDDING = "bedding"
    GEOTEXTILE = "geotextile"
    STONE = "drain stone"
    PIPE = "drain pipe"
    EDGING = "edging"
    ADHESIVE = "adhesive"
    LIGHT = "light"
    HANDRAIL = "handrail"
    DIGGING = "digging"
    FILL = "fill"
    TOPSOIL = "topsoil"
    DISPOSAL = "disposal"


class Kind(StrEnum):
    """What a quantity counts."""

    COUNT = "count"
    LENGTH = "length"
    AREA = "area"
    VOLUME = "volume"
    MASS = "mass"


PER: dict[str, tuple[Kind, Decimal]] = {
    "each": (Kind.COUNT, Decimal(1)),
    "m": (Kind.LENGTH, Decimal(1)),
    "ft": (Kind.LENGTH, Decimal("0.3048")),
    "yd": (Kind.LENGTH, Decimal("0.9144")),
    "m2": (Kind.AREA, Decimal(1)),
    "ft2": (Kind.AREA, Decimal("0.3048") ** 2),
    "yd2": (Kind.AREA, Decimal("0.9144") ** 2),
    "m3": (Kind.VOLUME, Decimal(1)),
    "ft3": (Kind.VOLUME, Decimal("0.3048") ** 3),
    "yd3": (Kind.VOLUME, Decimal("0.9144") ** 3),
    "kg": (Kind.MASS, Decimal(1)),
    "t": (Kind.MASS, Decimal(1000)),
    "lb": (Kind.MASS, Decimal("0.45359237")),
    "ton": (Kind.MASS, Decimal("907.18474")),
}
"""What a price may be for, each in SI, exact by definition (inch 25.4 mm, pound 0.45359237 kg, ton 2000 lb)."""


def _decimal(value: object) -> Decimal:
    try:
        number = Decimal(str(value).strip())
    except InvalidOperation:
        raise ValueError(f"{value!r} is not a number") from None
    if not number.is_finite():
        raise ValueError(f"{value!r} is not a finite number")
    return number


def _share(value: object) -> Decimal:
    text = str(value).strip()
    if text.endswith("%"):
        return _decimal(text[:-1]) / 100
    if (share := _decimal(text)) > 1:
        raise ValueError(f'{text} would be {share * 100:f} %: write it with its sign, such as "{text} %"')
    return share


def _length(value: object) -> float:
    return length_m(str(value))


LEAST, MOST = Decimal("0.001"), Decimal(10) ** 9
"""Bounds within which every sum is exact; nothing is sold in smaller packs or costs more."""
Amount = Annotated[Decimal, BeforeValidator(_decimal), Field(ge=LEAST, le=MOST)]
NotNegative = Annotated[Decimal, BeforeValidator(_decimal), Field(ge=0, le=MOST)]
Share = Annotated[Decimal, BeforeValidator(_share), Field(ge=0, lt=10)]
Length = Annotated[float, BeforeValidator(_length), Field(ge=0.001, le=1000)]


class Strict(BaseModel):
    """A table of the file: unknown fields are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Item(Strict):
    """One thing to buy or to pay for.

    `price` is for one `per`; `pack` is how many `per` are in what is sold, whole packs only, named by `sold_as`.
    `length` of a piece laid in rows, or the width of a roll; `density` in kg per m3 as placed, for what is sold by
    mass; `mass` in kg of one `per`, for carrying; `hours` of labour for one `per`.
    """

    use: Use
    name: str = Field(min_length=1, max_length=120)
    alternative: str = ""
    price: NotNegative | None = None
    per: str | None = None
    pack: Amount | None = None
    sold_as: str = ""
    waste: Share = Decimal(0)
    length: Length | None = None
    density: Amount | None = None
    mass: NotNegative | None = None
    hours: NotNegative = Decimal(0)

    @model_validator(mode="after")
    def _whole(self) -> "Item":
        if self.per is not None and self.per not in PER:
            raise ValueError(f"per: {self.per!r} is not one of {', '.join(PER)}")
        if self.per is None and (self.price is not None or self.pack is not None or self.hours):
            raise ValueError('a price, pack or hours without `per`: say what it is for, such as per = "each"')
        return self


class Sum(Strict):
    """A sum that does not grow with the quantities: permit, locating services, engineer, delivery, machine."""

    name: str = Field(min_length=1, max_length=120)
    amount: NotNegative


class Terms(Strict):
    """The terms of a quote; shares are of the sum before them, in the order they are listed here."""

    labour: NotNegative = Decimal(0)
    carry_distance: Annotated[float, BeforeValidator(_length), Field(ge=0, le=100_000)] = 0.0
    carry_hours: NotNegative = Decimal(0)
    overhead: Share = Decimal(0)
    contingency: Share = Decimal(0)
    margin: Share = Decimal(0)
    tax: Share = Decimal(0)
    tax_name: str = "tax"
    round_to: Amount = Decimal("0.01")
    valid: str = ""
    maker: str = ""
    excluded: tuple[str, ...] = ()
    sums: tuple[Sum, ...] = ()


class Head(Strict):
    """What the catalogue says of itself; `common` is what a quote calls the items that belong to no alternative."""

    name: str = ""
    currency: str = Field(default="", max_length=4)
    common: str = Field(default="standard", min_length=1, max_length=60)


class Catalogue(Strict):
    """Items, each name and each use (within an alternative) once, and the terms of a quote."""

    catalogue: Head = Head()
    item: tuple[Item, ...] = ()
    quote: Terms = Terms()
    source: str = Field(default="the catalogue", exclude=True)

    @model_validator(mode="after")
    def _once_each(self) -> "Catalogue":
        names, uses = set(), set()
        for item in self.item:
            if item.name in names:
                raise ValueError(f"item {item.name!r} is there twice")
            if (item.use, item.alternative) in uses:
                raise ValueError(f"two items serve as {item.use.value!r}; give one of them an `alternative` name")
            names.add(item.name)
            uses.add((item.use, item.alternative))
        return self

    @property
    def alternatives(self) -> tuple[str, ...]:
        """Names of the alternatives, in the order written; the empty name first where common items make one too."""
        named = dict.fromkeys(item.alternative for item in self.item if item.alternative)
        common = {item.use for item in self.item if not item.alternative}
        whole = all(item.use in common for item in self.item)
        return ("", *named) if whole else tuple(named)

    def called(self, alternative: str) -> str:
        """What an alternative is called on paper."""
        return alternative or self.catalogue.common

    def item_for(self, use: Use, alternative: str = "") -> Item | None:
        """The item that serves a use: that of the alternative, else the common one."""
        found = {item.alternative: item for item in self.item if item.use is use}
        return found.get(alternative, found.get(""))


def read_catalogue(path: Path | str, terms: Path | str | None = None) -> Catalogue:
    """Read a catalogue, TOML or CSV by its name, with its currency and terms from a file of their own where given.

    WrongFile lists every mistake.
    """
    path = Path(path)
    catalogue = parse_catalogue(_text(path), path)
    if terms is None:
        return catalogue
    terms = Path(terms)
    if found := _toml(_text(terms), terms):
        if "item" in found:
            raise WrongFile(terms, ["items belong in the catalogue; terms hold [catalogue] and [quote] alone"])
        said = _validated(found, terms, [])
        return catalogue.model_copy(update={name: getattr(said, name) for name in said.model_fields_set})
    return catalogue


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
        if len(data) > MAX_BYTES:
            raise WrongFile(path, ["larger than a catalogue can be"])
        return data.decode("utf-8-sig")
    except OSError as error:
        raise WrongFile(path, [error.strerror or "cannot be read"]) from error
    except UnicodeDecodeError:
        raise WrongFile(path, ["not UTF-8 text"]) from None


def parse_catalogue(text: str, path: Path) -> Catalogue:
    """The catalogue in a text; `path` tells TOML from CSV and stands in the messages."""
    if path.suffix.lower() != ".csv":
        return _validated(_toml(text, path), path, [])
    header = text.partition("\n")[0]
    if ";" in header and "," not in header:
        raise WrongFile(path, ["its columns are parted by semicolons: save it with commas, and decimals with a point"])
    reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
    items, lines = [], []
    try:
        columns = list(reader.fieldnames or ())
        if not columns:
            raise WrongFile(path, ["it is empty: a first line with use,name,price,per is needed"])
        if twice := sorted({name for name in columns if columns.count(name) > 1}):
            raise WrongFile(path, [f"line 1: column {name} stands there twice" for name in twice])
        for row in reader:
            items.append(_filled(row))
            lines.append(reader.line_num)
    except csv.Error as error:
        raise WrongFile(path, [f"not CSV: {error}"]) from None
    return _validated({"item": items}, path, lines)


def _toml(text: str, path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise WrongFile(path, ["not TOML: nested too deeply"]) from None
    except ValueError as error:  # TOMLDecodeError, or a whole number of thousands of digits
        raise WrongFile(path, [f"not TOML: {error}"]) from None


def _validated(tables: dict[str, Any], path: Path, lines: list[int]) -> Catalogue:
    try:
        return Catalogue.model_validate(tables).model_copy(update={"source": str(path)})
    except ValidationError as error:
        raise WrongFile(path, [_mistake(e, lines) for e in error.errors()]) from None


def _filled(row: dict[str | None, Any]) -> dict[str, Any]:
    """The fields of a CSV line that hold something; what stands beyond the header is a mistake by its own name."""
    return {(key or "beyond the header"): value for key, value in row.items() if value not in ("", None)}


def _mistake(error: Any, lines: list[int]) -> str:
    """One mistake by its place: the line of a CSV, the number of the item of a TOML."""
    table, *place = error["loc"] or ("catalogue",)
    if table == "item" and place:
        number, *place = place
        table = f"line {lines[number]}" if lines else f"item {number + 1}"
    limits = {name: str(limit).removeprefix("Decimal('").rstrip("')") for name, limit in error.get("ctx", {}).items()}
    plain = PLAIN.get(error["type"], "").format(**limits)
    said = plain or error["msg"].removeprefix("Value error, ")
    return f"{': '.join([str(table), *map(str, place)])}: {said}"
