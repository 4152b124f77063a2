"""A sheet as one self-contained HTML page: black on white, no outside font, script or picture."""

from collections.abc import Iterator
from html import escape

from logger.sheets.document import Block, Cell, Drawing, Lines, Paper, Sheet, Table
from logger.shown import shown

MARGIN_MM = 14
UNBROKEN = 18
"""Cells with fewer letters than this are never broken: a figure on two lines is misread."""
STYLE = """
@page { size: %(width)smm %(height)smm; margin: %(margin)smm %(margin)smm 19mm;
  @bottom-left { content: "%(foot)s"; font: 7.5pt Helvetica, Arial, sans-serif; vertical-align: top; width: 88%%; }
  @bottom-right { content: counter(page) " / " counter(pages); font: 8pt Helvetica, Arial, sans-serif;
                  vertical-align: top; } }
* { box-sizing: border-box; }
body { font: 11pt/1.3 Helvetica, Arial, sans-serif; color: #000; background: #fff; max-width: %(inside)smm;
       margin: 6mm auto; padding: 0 2mm; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
h1 { font-size: 17pt; margin: 0; }
h2 { font-size: 12.5pt; margin: 5mm 0 1.5mm; break-after: avoid; }
p { margin: 1mm 0; }
.job { font-size: 12pt; margin-bottom: 2mm; }
.maker { float: right; font-weight: bold; }
dl { display: grid; grid-template-columns: repeat(2, auto 1fr); gap: 0.4mm 3mm; margin: 2mm 0; font-size: 9.5pt;
     border: solid #000; border-width: 0.3mm 0; padding: 1mm 0; }
dt { font-weight: bold; }
dd { margin: 0; overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%%; font-variant-numeric: tabular-nums; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th { font-size: 9pt; text-align: left; vertical-align: bottom; border-bottom: 0.5mm solid #000; padding: 0.6mm 1.2mm; }
td { border-bottom: 0.2mm solid #000; padding: 0.5mm 1.2mm; vertical-align: top; line-height: 1.15; }
td.most { font-weight: bold; }
td.short { white-space: nowrap; }
td.most, th.most { border-left: 0.4mm solid #000; border-right: 0.4mm solid #000; }
td small { display: block; font-size: 8.5pt; font-weight: normal; }
td.struck { text-decoration: line-through; }
svg { max-width: 100%%; height: auto; display: block; break-inside: avoid; }
ul { margin: 1mm 0; padding-left: 5mm; }
li { margin: 0.8mm 0; }
.boxed { border: 0.6mm solid #000; padding: 1mm 3mm 2mm; margin-top: 5mm; break-inside: avoid; }
.boxed h2 { margin-top: 1mm; }
.note { font-size: 9pt; }
footer { margin-top: 5mm; border-top: 0.3mm solid #000; font-size: 8.5pt; overflow-wrap: anywhere; }
"""


def page(sheet: Sheet, paper: Paper) -> str:
    """The sheet as HTML text; the same sheet gives the same bytes."""
    width, height = paper.size_mm
    inside, foot = width - 2 * MARGIN_MM + 4, _quoted(sheet.foot)
    style = STYLE % {"width": width, "height": height, "margin": MARGIN_MM, "inside": inside, "foot": foot}
    maker = f'<div class="maker">{escape(sheet.maker)}</div>' if sheet.maker else ""
    facts = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in sheet.facts)
    text = (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(sheet.title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{style}</style></head>\n<body>\n'
        f'{maker}<h1>{escape(sheet.title)}</h1>\n<div class="job">{escape(sheet.job)}</div>\n<dl>{facts}</dl>\n'
        + "\n".join(_block(block) for block in sheet.filled)
        + f"\n<footer>{escape(sheet.foot)}</footer>\n</body></html>\n"
    )
    return shown(text, keep="\n")


def _quoted(text: str) -> str:
    """Text as a string of CSS that ends neither the string nor the style."""
    return "".join(c if c.isalnum() or c in " .,:;·±%()-/" else f"\\{ord(c):06x}" for c in text)


def _block(block: Block) -> str:
    match block:
        case Table():
            return _table(block)
        case Drawing():
            svg = block.svg.replace("<svg ", f'<svg aria-label="{escape(block.title)}" ', 1)
            return f"<section><h2>{escape(block.title)}</h2>{svg}{_note(block.note)}</section>"
        case Lines():
            items = "".join(f"<li>{escape(line)}</li>" for line in block.lines)
            boxed = ' class="boxed"' if block.boxed else ""
            return f"<section{boxed}><h2>{escape(block.title)}</h2><ul>{items}</ul></section>"


def _table(table: Table) -> str:
    heads = "".join(f"<th{_most(i, table)}>{escape(head)}</th>" for i, head in enumerate(table.heads))
    rows = "".join(f"<tr>{''.join(_cells(row, table))}</tr>\n" for row in table.rows)
    return (
        f"<section><h2>{escape(table.title)}</h2><table><thead><tr>{heads}</tr></thead>\n<tbody>{rows}</tbody></table>"
        f"{_note(table.note)}</section>"
    )


def _cells(row: tuple[Cell, ...], table: Table) -> Iterator[str]:
    for i, cell in enumerate(row):
        short = max(len(cell.text), len(cell.under)) < UNBROKEN
        names = ["most"] * (i in table.strong) + ["struck"] * cell.struck + ["short"] * short
        styled = f' class="{" ".join(names)}"' if names else ""
        under = f"<small>{escape(cell.under)}</small>" if cell.under else ""
        yield f"<td{styled}>{escape(cell.text)}{under}</td>"


def _most(column: int, table: Table) -> str:
    return ' class="most"' if column in table.strong else ""


def _note(words: str) -> str:
    return f'<p class="note">{escape(words)}</p>' if words else ""
