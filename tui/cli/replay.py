"""`replay`: a recorded session again, paced or at once."""

import sys
import time
from pathlib import Path
from typing import Any

import click

from logger.shown import shown
from tui.cli.numbers import Finite
from tui.cli.output import emit_json


@click.command("replay", short_help="A recorded session again, paced or at once.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--speed", type=Finite(0.0), help="Times faster than recorded; 0: at once.")
@click.option("--at-once", is_flag=True, help="The same as --speed 0, and what happens where stdout is no terminal.")
@click.option("--pause", "pause_s", type=Finite(0.0), default=2.0, show_default=True, help="Longest pause kept, s.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(file: Path, speed: float | None, at_once: bool, *, pause_s: float, as_json: bool) -> None:
    """Play a session again: readings, tags and everything else that happened, decoded from its raw bytes.

        risewalk replay bank.walk --speed 10

    To play it to another command, name it as the port there: --port replay://FILE, with ?speed=10 behind it if wanted.
    """
    from logger.session.played import played
    from logger.session.store import Session

    if at_once or (speed is None and not sys.stdout.isatty()):
        speed = 0.0
    with Session.open(file) as session:
        before_us = None
        for t_us, told in played(session):
            if speed != 0.0 and before_us is not None:
                time.sleep(min(max(t_us - before_us, 0) / 1e6, pause_s) / (speed or 1.0))
            before_us = t_us
            if as_json:
                emit_json(told, line=True)
            else:
                click.echo(shown(_words(t_us, told)))


def _words(t_us: int, told: dict[str, Any]) -> str:
    minutes, seconds = divmod(t_us / 1e6, 60)
    what = {key: value for key, value in told.items() if key not in ("ok", "event", "at") and value not in (None, "")}
    return f"{int(minutes):3d}:{seconds:06.3f}  {told['event']:9s} " + "  ".join(
        f"{k} {_value(v)}" for k, v in what.items()
    )


def _value(value: object) -> str:
    return f"{value:.5f}" if isinstance(value, float) else str(value)
