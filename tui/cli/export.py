"""`export`: a session in a form for other programs, or as one file to hand over."""

from collections.abc import Callable
from pathlib import Path

import click


def _jsonl(file: Path, out: Path) -> None:
    from logger.session.jsonl import export_jsonl

    with click.open_file(str(out), "w", encoding="utf-8", atomic=str(out) != "-") as stream:
        export_jsonl(file, stream)


def _walk(file: Path, out: Path) -> None:
    from logger.session.jsonl import copy_session

    copy_session(file, out)


FORMATS: dict[str, Callable[[Path, Path], None]] = {"jsonl": _jsonl, "walk": _walk}
"""Each writes FILE to OUT in its format."""


@click.command("export", short_help="CSV, JSON, JSON Lines, drawings and a copy of the session.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--to", "form", type=click.Choice(list(FORMATS)), required=True, help="The format.")
def command(file: Path, out: Path, form: str) -> None:
    """Write FILE to OUT in another format; `walk` is a copy in one file, also of a session being recorded."""
    FORMATS[form](file, out)
