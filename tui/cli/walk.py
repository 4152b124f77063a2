"""`walk`: the full-screen app on a session; attaches to its recorder, or starts one."""

import sys
from collections.abc import Awaitable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from logger.recorder.client import Client
    from tui.walking.opening import Opening, Started


@click.command("walk", short_help="The full-screen app on a session.")
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--port", default="", help="Where the instrument is: /dev/ttyUSB0, COM5, ble://NAME, replay://FILE …")
@click.option("--instrument", default="", help="Name or file of the instrument.")
@click.option("--job", default="", help="What the walk is for.")
@click.option("--units", type=click.Choice(["ft-in", "ft", "m", "mm"]), default=None, help="Units shown and typed.")
@click.option("--tape", type=click.Choice(["level", "taut", "ground"]), default=None, help="How the tape is held.")
@click.option("--brief", type=click.Path(dir_okay=False, path_type=Path), help="What steps are wanted (TOML).")
@click.option("--plain", is_flag=True, help="No screen: one full line an event, typed lines as commands.")
@click.option("--dark", is_flag=True, help="Start with the dark theme.")
@click.option("--player", default="", help="A command that plays a sound; gets taken, on_grade, refused or link_lost.")
def command(file: Path | None, *, brief: Path | None, plain: bool, dark: bool, player: str, **recording: Any) -> None:
    """Walk a slope: live height, one key a station, the ground and the best steps so far.

        risewalk walk bank.walk --port /dev/ttyUSB0 --instrument ascii-lines --units ft-in

    The recorder behind the screen goes on when the screen is closed; the next `walk` on the same file returns to it.
    """
    from tui.walking.opening import Opening, log_to_file, new_session

    words = {key: value or "" for key, value in recording.items()}
    if plain:
        log_to_file()
        sys.exit(_plain(Opening(file or new_session(Path.cwd()), **words), brief, player))
    if not all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr)):
        raise click.UsageError("the screen needs a terminal, its stderr included; without one use --plain")
    log_to_file()
    sys.exit(_screen(None if file is None else Opening(file, **words), brief, player, dark=dark))


def _plain(opening: "Opening", brief: Path | None, player: str) -> int:
    import asyncio

    from tui.plain.desk import walk

    return asyncio.run(walk(opening, brief=brief, player=player))


def _screen(opening: "Opening | None", brief: Path | None, player: str, *, dark: bool) -> int:
    import asyncio

    from tui.walking.opening import connected, start

    early: list[Started] = []
    if (
        opening is not None
        and (opening.tape or opening.session.exists())
        and not asyncio.run(_running(opening.session))
    ):
        early.append(start(opening.record_command()))

    from tui.app import RisewalkApp
    from tui.themes import DUSK, NOON

    def connect(wanted: "Opening") -> "Awaitable[Client]":
        return connected(wanted, early.pop() if early and wanted is opening else None)

    app = RisewalkApp(opening, connect, brief=brief, player=player, theme=DUSK if dark else NOON)
    said = app.run()
    if said:
        click.echo(said, err=True)
    return app.return_code or 0


async def _running(file: Path) -> bool:
    from logger.recorder.client import attach

    client = await attach(file)
    if client is None:
        return False
    await client.close()
    return True
