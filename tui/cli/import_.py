"""`import`: JSON Lines, or levelling notes kept on paper, as a session."""

from pathlib import Path

import click

from tui.cli.output import emit_json
from tui.cli.waiting import waiting


@click.command("import", short_help="JSON Lines, or levelling notes kept on paper, as a session.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE [OUT.walk]")
@click.option(
    "--levels", is_flag=True, help="FILE is a CSV of levelling notes: backsights, intermediate and foresights."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(files: tuple[Path, ...], levels: bool, as_json: bool) -> None:
    """Make a session of what was exported, or of notes kept on paper; OUT is FILE with `.walk` unless given.

    risewalk import --levels notes.csv bank.walk
    """
    if len(files) > 2:
        raise click.UsageError("one file to read, and at most one session to make")
    source, out = files[0], files[1] if len(files) > 1 else files[0].with_suffix(".walk")
    if levels:
        from logger.session.notes import import_levels

        count = import_levels(source, out)
    else:
        from logger.session.jsonl import import_jsonl

        with waiting("making the session"):
            count = import_jsonl(source, out)
    if as_json:
        emit_json({"ok": True, "session": str(out), "events": count})
    else:
        click.echo(f"{out}: {count} events")
