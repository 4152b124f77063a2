"""`export`: a session, its ground, or a layout on it, in a form for other programs."""

import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drivers.lengths import Units
from logger.errors import CannotWrite
from tui.cli.plan import plan_options, read_plan, spare_session, write_file
from tui.cli.waiting import waiting

if TYPE_CHECKING:
    from logger.profile import Profile
    from logger.setout import SetOut


@dataclass(frozen=True, slots=True)
class Drawn:
    """The ground and, with a brief, the marks on it."""

    file: Path
    profile: "Profile"
    marks: "SetOut | None"
    width_m: float | None
    units: Units


def _jsonl(file: Path, out: Path) -> None:
    from logger.session.jsonl import export_jsonl

    if str(out) == "-":
        export_jsonl(file, sys.stdout)
        return
    spare_session(out)
    whole = out.with_name(f"{out.name}.part") if out.is_file() or not out.exists() else out
    try:
        with whole.open("w", encoding="utf-8", newline="\n") as stream:
            export_jsonl(file, stream)
        if whole != out:  # a pipe or a device is written, never replaced
            whole.replace(out)
    except OSError as error:
        raise CannotWrite(out, f"{error.strerror}; name another place to write to") from error
    finally:
        if whole != out:
            with suppress(OSError):
                whole.unlink()


def _walk(file: Path, out: Path) -> None:
    from logger.session.jsonl import copy_session

    if str(out) == "-":
        raise click.UsageError("a copy of the session is a file: name one instead of -")
    copy_session(file, out)


SESSIONS: dict[str, Callable[[Path, Path], None]] = {"jsonl": _jsonl, "walk": _walk}
"""What is made of a session itself."""


def _csv(plan: Drawn) -> str:
    from logger.export.tables import marks_csv
    from logger.profile_report import csv_text

    return csv_text(plan.profile) if plan.marks is None else marks_csv(plan.marks)


def _json(plan: Drawn) -> str:
    from logger.export.documents import setout_document
    from logger.profile_file import is_session, read_adjustment
    from logger.profile_report import document
    from tui.cli.output import json_text

    if plan.marks is not None:
        return json_text(setout_document(plan.marks))
    return json_text(document(plan.profile, read_adjustment(plan.file) if is_session(plan.file) else None))


def _svg(plan: Drawn) -> str:
    from logger.sheets.section import Section

    return Section(plan.profile.ground(), _needed(plan), plan.units).draw()


def _png(plan: Drawn) -> bytes:
    from logger.export.png import png

    return png(_svg(plan))


def _dxf(plan: Drawn) -> str:
    from logger.export.dxf import section_dxf

    return section_dxf(plan.profile, _needed(plan), plan.width_m)


def _landxml(plan: Drawn) -> str:
    from importlib.metadata import version

    from logger.export.landxml import landxml

    walked = {} if (at := _walked(plan.file)) is None else {"walked": at}
    return landxml(plan.profile, plan.marks, version=version("risewalk"), **walked)


def _walked(file: Path) -> str | None:
    """When the first observation of a session was made, ISO 8601; None for ground that is no session."""
    from logger.profile_file import is_session
    from logger.session.events import iso
    from logger.session.replay import field_book
    from logger.session.store import Session

    if not is_session(file):
        return None
    with Session.open(file) as session:
        entries = field_book(session).entries
    return iso(entries[0].at_us) if entries else None


def _needed(plan: Drawn) -> "SetOut":
    if plan.marks is None:
        raise click.UsageError("a drawing of the steps needs a brief: --brief FILE")
    return plan.marks


DRAWN: dict[str, Callable[[Drawn], str | bytes]] = {
    "csv": _csv,
    "json": _json,
    "svg": _svg,
    "png": _png,
    "dxf": _dxf,
    "landxml": _landxml,
}
"""What is made of the ground and, with a brief, of the layout on it."""


@click.command("export", epilog="Example: risewalk export bank.walk --to dxf --brief brief.toml steps.dxf")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.argument("out", type=click.Path(dir_okay=False, allow_dash=True, path_type=Path))
@click.option("--to", "form", type=click.Choice([*SESSIONS, *DRAWN]), required=True, help="The format.")
@plan_options
def command(*, file: Path, out: Path, form: str, **given: Any) -> None:
    """Write FILE to OUT in another format; OUT `-` is stdout, but for a copy.

    `csv` and `json` hold the ground or, with a brief, the marks of the layout. `svg`, `png` and `dxf` are drawings of
    the steps, `landxml` the profile. `jsonl` is the whole session as text, `walk` a copy in one file, also of a session
    that is being recorded. Neither a session nor what is read here is written over.
    """
    if out.resolve() in [read.resolve() for read in (file, given["brief_path"]) if read is not None]:
        raise click.UsageError(f"{out} is what is read: name another file to write to")
    if form in SESSIONS:
        with waiting("copying the session"):
            SESSIONS[form](file, out)
        return
    made = DRAWN[form](_drawn(file, given))
    if str(out) == "-":
        click.echo(made, nl=False)
    else:
        write_file(out, made)


def _drawn(file: Path, given: Mapping[str, Any]) -> Drawn:
    if not any(value for value in given.values()):
        from logger.profile_file import read_profile

        return Drawn(file, read_profile(file), None, None, Units.METRES)
    from logger.setout import set_out

    plan = read_plan(file, given)
    marks = set_out(plan.profile, plan.option, plan.brief)
    return Drawn(file, plan.profile, marks, plan.brief.steps.width_m, plan.units)
