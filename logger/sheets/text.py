"""A sheet as plain text for a terminal: the same document, columns lined up, drawings left out."""

from logger.sheets.document import Block, Drawing, Lines, Sheet, Table


def plain_text(sheet: Sheet) -> str:
    """The sheet as lines of text, the first line of every cell."""
    lines = [sheet.title, sheet.job, "", *(f"{name}: {value}" for name, value in sheet.facts)]
    for block in sheet.blocks:
        lines += _block(block)
    return "\n".join([*lines, "", sheet.foot]) + "\n"


def _block(block: Block) -> list[str]:
    match block:
        case Table():
            return ["", block.title, *_table(block), *([block.note] if block.note else [])]
        case Lines():
            return ["", block.title, *(f"- {line}" for line in block.lines)] if block.lines else []
        case Drawing():
            return []


def _table(table: Table) -> list[str]:
    rows = [table.heads, *(tuple(cell.text for cell in row) for row in table.rows)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(table.heads))]
    return ["  ".join(text.rjust(width) for text, width in zip(row, widths, strict=True)) for row in rows]
