"""`instruments`: list, show and check instrument files, and print their schema."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tui.cli.output import emit_json

if TYPE_CHECKING:
    from drivers.capture import Decoded
    from drivers.instrument import InstrumentFile

SHOWN = 12
"""Readings listed for people; --json has them all."""

HELP = """Instrument files: what an instrument sends, how to ask it, and what its number means.

\b
    risewalk instruments                     the names that --instrument takes
    risewalk instruments show ascii-lines    one as TOML, to start your own from
    risewalk instruments check my.toml --against capture.bin
    risewalk instruments fields              every field with its meaning

Your own files are found by name in the folder that `risewalk instruments` prints last.
"""


@click.group("instruments", invoke_without_command=True, help=HELP)
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@click.pass_context
def command(context: click.Context, *, as_json: bool) -> None:
    """List the instruments where no other word follows."""
    if context.invoked_subcommand is None:
        _list(as_json=as_json)


def _list(*, as_json: bool) -> None:
    from drivers.errors import InstrumentFileError
    from drivers.instrument import load, names, shipped_folder, user_folder

    rows: list[dict[str, Any]] = []
    for name in names():
        own = (user_folder() / f"{name}.toml").is_file()
        row: dict[str, Any] = {"name": name, "from": "yours" if own else "shipped"}
        try:
            row |= _summary(load(name))
        except InstrumentFileError as error:
            row |= {"title": "", "decoder": "", "mistakes": error.mistakes}
        rows.append(row)
    if as_json:
        emit_json({"instruments": rows, "folder": str(user_folder()), "shipped": str(shipped_folder())})
        return
    wide = max(len(row["name"]) for row in rows)
    for row in rows:
        what = row["title"] or "; ".join(row["mistakes"])
        click.echo(
            f"{row['name']:<{wide}}  {row['decoder']:<9} {what}{'' if row['from'] == 'shipped' else '  (yours)'}"
        )
    click.echo(f"your own files: {user_folder()}", err=True)


def _summary(instrument: "InstrumentFile") -> dict[str, Any]:
    return {
        "title": instrument.instrument.name,
        "decoder": instrument.decoder.kind,
        "unit": instrument.height.unit,
        "asked": instrument.ask is not None,
        "resolution_m": instrument.resolution_m,
        "u_m": instrument.accuracy[0],
        "mistakes": [],
    }


@command.command()
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def show(name: str, *, as_json: bool) -> None:
    """Print one instrument file, by NAME or path."""
    from drivers.instrument import dump, find, load, tables

    instrument = load(name)
    if as_json:
        emit_json(tables(instrument))
        return
    path = find(name)
    click.echo(dump(instrument) if path is None else path.read_text(encoding="utf-8-sig"), nl=False)


@command.command()
@click.argument("file")
@click.option(
    "--against", type=click.Path(path_type=Path), help="A file of bytes as sent; or what listen --bytes wrote."
)
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def check(file: str, *, against: Path | None, as_json: bool) -> None:
    """Read FILE, a name or path, with every mistake; with --against, decode a capture by it."""
    from drivers.capture import decode_capture
    from drivers.instrument import load
    from drivers.registry import make_decoder

    instrument = load(file)
    make_decoder(instrument)
    decoded = decode_capture(instrument, against) if against is not None else None
    if as_json:
        emit_json({"ok": True, **_summary(instrument), **({} if decoded is None else _capture_json(decoded))})
        return
    click.echo(f"{instrument.instrument.name}: no mistakes")
    if decoded is not None:
        _tell_capture(decoded)


def _capture_json(decoded: "Decoded") -> dict[str, Any]:
    return {
        "bytes": decoded.bytes,
        "readings": [
            {
                "t_s": round(r.t_s, 6),
                "height_m": r.height_m,
                "temperature_c": r.temperature_c,
                "battery": r.battery,
                "stable": r.stable,
            }
            for r in decoded.readings
        ],
        "rejects": dict(decoded.rejects),
        "remarks": decoded.remarks,
    }


def _tell_capture(decoded: "Decoded") -> None:
    from tui.cli import printable

    click.echo(f"{len(decoded.readings)} readings in {decoded.bytes} bytes")
    for reading in decoded.readings[:SHOWN]:
        extra = [
            "" if reading.temperature_c is None else f"{reading.temperature_c:.1f} C",
            "" if reading.battery is None else f"battery {reading.battery:.0f} %",
            "" if reading.stable is None else ("at rest" if reading.stable else "moving"),
        ]
        click.echo(f"  {reading.height_m:+.5f} m  {'  '.join(e for e in extra if e)}".rstrip())
    if len(decoded.readings) > SHOWN:
        click.echo(f"  and {len(decoded.readings) - SHOWN} more")
    for reason, count in decoded.rejects.most_common():
        click.echo(f"refused {count}: {REASONS[reason]}")
    for remark in decoded.remarks:
        click.echo(f"the instrument said: {printable(remark)}")


REASONS = {
    "checksum": "the check was wrong or missing",
    "length": "cut, or too long",
    "range": "no height can be that large",
    "unit": "the unit is neither a length nor a pressure",
    "stale": "the instrument had nothing new to tell",
    "not_a_number": "no number where the height should be",
    "not_mine": "something else than the instrument file describes",
    "refused": "the instrument itself reported over-range or an error",
    "timeout": "no answer in time",
}


@command.command()
def schema() -> None:
    """Print the JSON Schema of an instrument file."""
    from drivers.instrument import schema as instrument_schema

    emit_json(instrument_schema())


@command.command()
def fields() -> None:
    """Print every field of an instrument file with its meaning and default."""
    from drivers.instrument import described

    for path, meaning in described():
        click.echo(f"{path:<28} {meaning}")


@command.command("decoders")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def decoders(*, as_json: bool) -> None:
    """List decoders and transports, those of plug-ins among them."""
    from drivers.registry import list_decoders, list_transports

    both = {"decoders": list_decoders(), "transports": list_transports()}
    if as_json:
        emit_json(both)
        return
    for kind, listed in both.items():
        for one in listed:
            click.echo(f"{kind[:-1]:<10} {one.name:<12} {one.package or 'built in'}")
