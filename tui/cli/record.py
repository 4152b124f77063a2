"""`record`: a walk without a screen, tag commands on stdin, one a line."""

import asyncio
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.shown import shown
from tui.cli.numbers import Finite
from tui.cli.output import emit_json

if TYPE_CHECKING:
    from drivers.instrument import InstrumentFile
    from logger.recorder.settings import Settings
    from logger.session.fieldbook import FieldBook

DEVICES = ("ble", "sim")
HELP = """Record a walk: tag commands on stdin, one a line, each answered by one line of JSON.

    risewalk record slope.walk --port /dev/ttyUSB0 --instrument ascii-lines --units ft-in

FILE is made if it does not exist, otherwise continued. If it is moved or removed meanwhile, all of it is written anew
beside it as NAME-rescued.walk, or in the folder for this program's state, and recording goes on there. Commands:
benchmark NAME [ELEVATION], station DISTANCE [left|right OFFSET] [# note], turn NAME, setup, point NAME, surface
ground|dug|base|built, base RISER front|back, built RISER front|back|left|right [DISTANCE] (built 0 back is the walk
below), face RISER LENGTH and tread RISER LENGTH by tape, rod LENGTH, force TAG, strike N [# reason], note TEXT, watch
on|off, control off|shared, status, list, cancel, end.
"""


@click.command("record", help=HELP, short_help="Record a walk without a screen.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--port", default="", help="Where the instrument is: /dev/ttyUSB0, COM5, ble://NAME, replay://FILE …")
@click.option("--instrument", default="", help="Name or file of the instrument.")
@click.option("--job", default="", help="What the walk is for.")
@click.option("--units", type=click.Choice(["ft-in", "ft", "m", "mm"]), default="m", help="What a bare number means.")
@click.option("--tape", type=click.Choice(["level", "taut", "ground"]), help="How the tape is held (default: level).")
@click.option("--timeout", "timeout_s", type=Finite(0.1), default=15.0, help="Seconds to wait for steady.")
@click.option("--socket", is_flag=True, help="Also on a local socket, named by `status`; only `end` stops it then.")
def command(file: Path, *, socket: bool, **options: Any) -> None:
    """Record until the input ends; with --socket until `end`."""
    from logger.errors import InUse
    from logger.recorder.frontends import record

    settings = settings_of(file, **options)
    if (book := _book(file)) is not None:
        click.echo(shown(f"{file}: {_standing(book, settings)}"), err=True)
    try:
        asyncio.run(record(file, settings, socket=socket))
    except InUse as error:
        emit_json({"ok": False, "error": "in_use", "message": str(error)}, line=True)
        raise


def settings_of(file: Path, *, port: str, instrument: str, tape: str | None, units: str, **options: Any) -> "Settings":
    """What a recorder is started with; port, instrument and tape may be left out where the session has them."""
    from drivers.instrument import parse
    from drivers.lengths import Units
    from logger.observation import Tape
    from logger.recorder.settings import Settings, whole_text

    book = _book(file)
    port = port or (_recorded_port(book) if book else "")
    if not port:
        raise click.UsageError("say where the instrument is: --port PORT")
    held = Tape(tape) if tape else book.tape if book else Tape.LEVEL
    if book and held is not book.tape and any(e.body["kind"] == "station" for e in book.entries):
        raise click.UsageError(f"this session holds its tape {book.tape}; begin another to hold it {held}")
    chosen = _instrument(instrument, port, book, file)
    return Settings(port, parse(whole_text(chosen), instrument or str(file)), units=Units(units), tape=held, **options)


def _recorded_port(book: "FieldBook") -> str:
    """The port of a session as far as it names a device: a file from elsewhere must not open networks or files."""
    scheme, found, _ = book.port.partition("://")
    if found and scheme.lower() not in DEVICES:
        raise click.UsageError(f"this session was recorded on {shown(book.port)}; to use that again, say --port")
    return book.port


def _standing(book: "FieldBook", settings: "Settings") -> str:
    """What is in a session that is gone on with, the last tag and how long ago, and whether its zero still counts."""
    from tui.walking.distances import ago

    now_us = time.time_ns() // 1000
    said = f"{len(book.entries)} observations"
    if (last := book.last_tag) is not None:
        what = last.body.get("written") or last.body["kind"]
        said += f", the last ({what}) {ago(max(0.0, (now_us - last.at_us) / 1e6))}"
    zero = book.zero() if book.goes_on(now_us, settings.port, settings.instrument_digest) else None
    return f"{said}; " + (book.why_needs_zero() if zero is None else f"heights go on from {zero.name}")


def _instrument(name: str, port: str, book: "FieldBook | None", file: Path) -> "InstrumentFile":
    from drivers.instrument import load
    from logger.session.replay import recorded_instrument
    from logger.session.transport import SCHEME, replayed

    if name:
        return load(name)
    if port.startswith(SCHEME):
        file = replayed(port).path
        book = _book(file)
    if book is None:
        raise click.UsageError("name the instrument: --instrument NAME_OR_FILE")
    return recorded_instrument(book, file)


def _book(file: Path) -> "FieldBook | None":
    from logger.session.replay import field_book
    from logger.session.store import Session

    if not file.exists() or not file.stat().st_size:
        return None
    with Session.open(file) as session:
        return field_book(session)
