"""`export`: a session in a form for other programs, or as one file to hand over."""

import io
from collections.abc import Callable
from pathlib import Path

import click


def _jsonl(file: Path, out: Path) -> None:
    from logger.session.jsonl import export_jsonl

    with click.open_file(str(out), "w", encoding="utf-8", atomic=str(out) != "-") as stream:
        assert isinstance(stream, io.TextIOBase)
        export_jsonl(file, stream)


def _walk(file: Path, out: Path) -> None:
    from logger.session.jsonl import copy_session

    copy_session(file, out)


SESSIONS: dict[str, Callable[[Path, Path], None]] = {"jsonl": _jsonl, "walk": _walk}
"""What is made of a session itself."""
