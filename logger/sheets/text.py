"""A sheet as plain text for a terminal: the same document, columns lined up, drawings left out."""

from textwrap import wrap

from logger.sheets.document import Block, Cell, Drawing, Lines, Sheet, Table
from logger.shown import shown

WIDE = 100
"""Sentences are broken to this many letters."""
LONG = 14
"""Columns with longer texts than this are read from the left, the others are lined up at the right."""


def plain_text(sheet: Sheet) -> str:
    """The sheet as lines of text: the first line of each cell, both of the first column; no escape code is obeyed."""
    lines = [sheet.title, sheet.job, "", *(f"{name}: {value}" for name, value in sheet.facts)]
    for block in sheet.filled:
        lines += _block(block)
    return "\n".join(shown(line) for line in [*lines, "", sheet.foot]) + "\n"


def _block(block: Block) -> list[str]:
    match block:
        case Table():
            return ["", block.title, *_table(block), *wrap(block.note, WIDE)]
        case Lines():
            return [
                "",
                block.title,
                *(w for line in block.lines for w in wrap(f"- {line}", WIDE, subsequent_indent="  ")),
            ]
        case Drawing():
            return []


def _table(table: Table) -> list[str]:
    cells = [(_named(row[0]), *(shown(cell.text) for cell in row[1:])) for row in table.rows]
    columns = [[head, *column] for head, *column in zip(table.heads, *cells, strict=True)]
    lined = [_lined_up(column) for column in columns]
    return ["  ".join(row).rstrip() for row in zip(*lined, strict=True)]


def _named(cell: Cell) -> str:
    """What a line is of, with its remark: without that two lines of one step could not be told apart."""
    return shown(f"{cell.text} {cell.under}".rstrip())


def _lined_up(column: list[str]) -> list[str]:
    width = max(map(len, column))
    left = max(map(len, column[1:]), default=0) > LONG
    return [text.ljust(width) if left else text.rjust(width) for text in column]
