"""`risewalk steps`: every layout of a brief on a ground, best first, with the reasons."""

from pathlib import Path
from typing import Any

import click

from logger.steps.option import Options
from tui.cli import OK, OUT_OF_TOLERANCE
from tui.cli.brief_options import brief_from, brief_options
from tui.cli.output import emit_json, plain

SCHEMA = "risewalk.options/1"


@click.command(
    epilog='Before any walk: risewalk steps --rise "6 ft 8 in" --run "21 ft" --tread "16 in" --landing "36 in"'
)
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--explain", type=click.IntRange(1), metavar="N", help="Why N risers, or why not.")
@click.option("--json", "as_json", is_flag=True, help="For programs.")
@brief_options
def command(file: Path | None, explain: int | None, as_json: bool, **given: Any) -> int:
    """Layouts for a brief on the ground of FILE, best first: a session, or a CSV with station_m,elevation_m.

    Without FILE the ground is taken as straight over --rise and --run: an estimate before any walk. Exit 1 where no
    layout can be.
    """
    from logger.steps.rulebook import GOVERNS
    from logger.steps.solve import solve
    from tui.cli.steps_text import explained, told
    from tui.cli.waiting import waiting

    brief = brief_from(given)
    with waiting("reading the ground and solving"):
        profile = None
        if file is not None:
            from logger.profile_file import read_profile

            profile = read_profile(file)
        options = solve(profile, brief, explain)
    if as_json:
        emit_json(document(options, explain))
    else:
        lines = told(options, brief) if explain is None else explained(options, brief, explain)
        click.echo("\n".join([*lines, "", GOVERNS]))
    return OK if options.options else OUT_OF_TOLERANCE


def document(options: Options, explain: int | None = None) -> dict[str, Any]:
    """The options as programs read them; `explained` is the option or the refusal of the count asked about."""
    from logger.steps.rulebook import GOVERNS

    written = {"schema": SCHEMA, **plain(options), "governs": GOVERNS}
    if explain is not None:
        answers = [*written["options"], *written["refused"]]
        written["explained"] = next((answer for answer in answers if answer["risers"] == explain), None)
    return written
