"""What stands on a sheet, apart from how it is put on paper: one document, rendered as HTML or as PDF.

Lengths are shown in both unit systems, so a cell has a first line to work by and a second to compare.
"""

from dataclasses import dataclass
from enum import StrEnum

from drivers.lengths import Units
from logger import measures


class Paper(StrEnum):
    """The paper a sheet is laid out for."""

    LETTER = "letter"
    A4 = "a4"

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height, upright."""
        return (215.9, 279.4) if self is Paper.LETTER else (210.0, 297.0)


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: what to work by, and under it the same in the other units or a remark; struck through or not."""

    text: str
    under: str = ""
    struck: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `strong` numbers the columns (from 0) that are used most, set in bold; every row has all columns."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    strong: tuple[int, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing as SVG text whose own size is in millimetres on paper."""

    title: str
    svg: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Lines:
    """A list of sentences: remarks, findings or cautions; `boxed` sets it apart in a frame."""

    title: str
    lines: tuple[str, ...]
    boxed: bool = False


Block = Table | Drawing | Lines


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole sheet: title, the facts at its head, its blocks, and the line at the foot of every page."""

    title: str
    job: str
    facts: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]
    foot: str
    maker: str = ""

    @property
    def filled(self) -> tuple[Block, ...]:
        """The blocks that hold something; a heading with nothing under it is left out."""
        return tuple(b for b in self.blocks if isinstance(b, Drawing) or (b.rows if isinstance(b, Table) else b.lines))


def length(value_m: float | None, units: Units, *, missing: str = "–") -> Cell:
    """A length in both unit systems, rounded once in each."""
    return Cell(missing) if value_m is None else Cell(*measures.length(value_m, units))


def dig(value_m: float | None, units: Units) -> Cell:
    """A depth down from the ground, or, where the ground is too low, the word fill and how much."""
    if value_m is None or value_m >= 0:
        return length(value_m, units)
    cell = length(-value_m, units)
    return cell if cell == length(0.0, units) else Cell(f"fill {cell.text}", cell.under)


def both(value_m: float, units: Units) -> str:
    """A length in both unit systems on one line."""
    return measures.both(measures.length(value_m, units))
