"""`walk`: the full-screen app on a session; attaches to its recorder, or starts one."""

import shlex
import sys
from collections.abc import Awaitable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from logger.recorder.client import Client
    from tui.walking.opening import Opening, Started


def _words(player: str) -> str:
    """A command whose words can be told apart."""
    try:
        shlex.split(player)
    except ValueError as error:
        raise click.BadParameter(f"{error}: close what is quoted") from None
    return player


@click.command("walk", short_help="The full-screen app on a session.")
@click.argument("file", required=False, type=click.Path(dir_okay=False, path_type=Path))
@click.option("--port", default="", help="Where the instrument is: /dev/ttyUSB0, COM5, ble://NAME, replay://FILE …")
@click.option("--instrument", default="", help="Name or file of the instrument.")
@click.option("--job", default="", help="What the walk is for.")
@click.option("--units", type=click.Choice(["ft-in", "ft", "m", "mm"]), default=None, help="Units shown and typed.")
@click.option("--tape", type=click.Choice(["level", "taut", "ground"]), default=None, help="How the tape is held.")
@click.option("--brief", type=click.Path(dir_okay=False, path_type=Path), help="What steps are wanted (TOML).")
@click.option("--plain", is_flag=True, help="No screen: one full line an event, typed lines as commands.")
@click.option("--serve", is_flag=True, help="The screen in a browser, such as a phone's; the link is shown.")
@click.option("--host", default="127.0.0.1", show_default=True, help="With --serve: address of this computer to use.")
@click.option("--web-port", type=click.IntRange(0, 65535), default=8321, show_default=True, help="With --serve.")
@click.option("--allow-control", is_flag=True, help="With --serve: one browser at a time may tag, not only watch.")
@click.option("--dark", is_flag=True, help="Start with the dark theme.")
@click.option(
    "--player",
    default="",
    callback=lambda _, __, words: _words(words),
    help="A command that plays a sound; gets taken, on_grade, refused or link_lost.",
)
def command(file: Path | None, *, plain: bool, serve: bool, brief: Path | None, **given: Any) -> None:
    """Walk a slope: live height, one key a station, the ground and the best steps so far.

    \b
        risewalk walk bank.walk --port /dev/ttyUSB0 --instrument ascii-lines --units ft-in

    The recorder behind the screen goes on when the screen is closed; the next `walk` on the same file returns to it.
    With --plain each event is one line, for screen readers, speech and logs; type help for its words. With --serve the
    screen is in a browser: on a trusted network only, for nothing is encrypted.
    """
    from tui.walking.opening import Opening, log_to_file, new_session

    words = {name: given[name] or "" for name in ("port", "instrument", "job", "units", "tape")}
    opening = None if file is None else Opening(file, **words)
    if plain and serve:
        raise click.UsageError("--plain has no screen to serve")
    if serve:
        if opening is None:
            raise click.UsageError("name the session to serve: risewalk walk FILE --serve")
        log_to_file()
        sys.exit(_serve(_held(opening), brief, given))
    if plain:
        log_to_file()
        sys.exit(_plain(opening or Opening(new_session(Path.cwd()), **words), brief, given["player"]))
    if not all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr)):
        raise click.UsageError("the screen needs a terminal, its stderr included; without one use --plain")
    log_to_file()
    sys.exit(_screen(opening, brief, given["player"], dark=given["dark"]))


def _held(opening: "Opening") -> "Opening":
    """Ask how the tape of a new session is held, where somebody can answer."""
    if opening.tape or not opening.port or opening.session.exists() or not sys.stdin.isatty():
        return opening
    ways = click.Choice(["level", "taut", "ground"])
    return opening.held(click.prompt("A new session. The tape is held", type=ways, default="level"))


def _serve(opening: "Opening", brief: Path | None, given: Mapping[str, Any]) -> int:
    import asyncio

    try:
        from tui.serve.running import Place, serve
        from tui.serve.served import Served
    except ModuleNotFoundError as error:
        raise click.UsageError(f"serving needs {error.name}: pip install 'risewalk[serve]'") from None
    served = Served(opening, brief, dark=given["dark"], control=given["allow_control"])
    return asyncio.run(serve(served, Place(given["host"], given["web_port"])))


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
