"""A sheet as plain text for a terminal: the same document, columns lined up, drawings left out."""

from logger.sheets.document import Block, Drawing, Lines, Sheet, Table

LONG = 14
"""Columns with longer texts than this are read from the left, the others are lined up at the right."""


def plain_text(sheet: Sheet) -> str:
    """The sheet as lines of text, the first line of every cell; what could steer a terminal is shown, not obeyed."""
    lines = [sheet.title, sheet.job, "", *(f"{name}: {value}" for name, value in sheet.facts)]
    for block in sheet.filled:
        lines += _block(block)
    return "\n".join(_printable(line) for line in [*lines, "", sheet.foot]) + "\n"


def _block(block: Block) -> list[str]:
    match block:
        case Table():
            return ["", block.title, *_table(block), *([block.note] if block.note else [])]
        case Lines():
            return ["", block.title, *(f"- {line}" for line in block.lines)]
        case Drawing():
            return []


def _table(table: Table) -> list[str]:
    rows = [table.heads, *(tuple(_printable(cell.text) for cell in row) for row in table.rows)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(table.heads))]
    return [
        "  ".join(text.ljust(w) if w > LONG else text.rjust(w) for text, w in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)
