"""A sheet as PDF, set by typst from a template that a person may replace; needs the extra `sheets`."""

import json
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any

from logger.errors import Refused, WrongFile
from logger.sheets.document import Block, Drawing, Lines, Paper, Sheet, Table

FONTS = ("Libertinus Serif", "DejaVu Sans Mono")
"""Fonts that come with typst itself, so that the pages are the same everywhere."""
SMALL = 0.85
"""Size of the second line of a cell over the first."""
NARROW, WIDE, GUTTER = 5, 34, 2
"""Widths of columns in letters: what their longest text asks for, within these numbers, and room beside it."""
PAGE, LONG = 92, 20
"""Letters across a page. Where a table asks for more, only its columns longer than this are broken."""
KINDS: dict[type[Block], str] = {Table: "table", Drawing: "drawing", Lines: "lines"}


def pdf(sheet: Sheet, paper: Paper, template: Path | None = None) -> bytes:
    """The sheet as PDF; the same sheet and template give the same bytes.

    Raises Refused where typst is not installed, WrongFile where the template cannot be set.
    """
    try:
        import typst
    except ImportError:
        raise Refused("no_typst", "PDF needs the extra: pip install 'risewalk[sheets]'; HTML works without") from None
    source = template_text(template)
    data = json.dumps(_data(sheet, paper), ensure_ascii=False)
    # A template of the user's own may show what lies beside it and name fonts; ours uses only what typst carries.
    root = None if template is None else str(template.absolute().parent)
    given = {"sheet": data}
    compiler = typst.Compiler(source.encode(), root=root, ignore_system_fonts=template is None, sys_inputs=given)
    try:
        made = compiler.compile(format="pdf", timestamp=0)
    except typst.TypstError as error:
        raise WrongFile(template or "sheet.typ", [str(error.message)]) from None
    assert isinstance(made, bytes)
    return made


def template_text(template: Path | None = None) -> str:
    """The template as text: the user's own, or the one that is shipped."""
    if template is None:
        return files("logger.sheets").joinpath("sheet.typ").read_text(encoding="utf-8")
    try:
        return template.read_text(encoding="utf-8")
    except OSError as error:
        raise WrongFile(template, [error.strerror or "cannot be read"]) from error
    except UnicodeDecodeError:
        raise WrongFile(template, ["not UTF-8 text"]) from None


def _data(sheet: Sheet, paper: Paper) -> dict[str, Any]:
    """What a template is given: the document, the paper in millimetres, the fonts."""
    width, height = paper.size_mm
    data = asdict(sheet)
    data["blocks"] = [_block(block) for block in sheet.filled]
    return data | {"paper": {"width_mm": width, "height_mm": height}, "fonts": FONTS}


def _block(block: Block) -> dict[str, Any]:
    data = {"kind": KINDS[type(block)], **asdict(block)}
    if isinstance(block, Table):
        lengths = [
            [len(head), *(max(len(row[i].text), SMALL * len(row[i].under)) for row in block.rows)]
            for i, head in enumerate(block.heads)
        ]
        widths = [min(WIDE, max(NARROW, *column)) + GUTTER for column in lengths]
        broken = 0 if sum(widths) <= PAGE else min(LONG, max(widths))
        data["widths"] = [width if width >= broken else 0 for width in widths]
    return data
