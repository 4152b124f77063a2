"""`walk --serve` at work: the recorder first, then the server, the link and its QR code in the terminal."""

import asyncio
import io
import signal
import socket
import sys
from dataclasses import dataclass
from shlex import quote

import click
import segno
from aiohttp import web

from tui.cli import OK, USAGE, printable
from tui.plain.streams import typed
from tui.serve.door import Door
from tui.serve.served import Served
from tui.serve.server import Server
from tui.walking.opening import NotStarted, connected

SIGNALS = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
ENDS_WITHIN_S = 2.0
LOOPBACK = ("127.0.0.1", "::1", "localhost")
ANYWHERE = ("0.0.0.0", "::")
TRUSTED = "On a trusted network only: nothing is encrypted, and who is on the network can read along."
ALONE = "Only this computer can open it. For a phone: --host and this computer's address on a network you trust."
"""What is said of who can come in."""


def reached_at(host: str) -> str:
    """The address a phone on the network would type; nothing is sent to find it out."""
    if host not in ANYWHERE:
        return f"[{host}]" if ":" in host else host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # TEST-NET-1 of RFC 5737: the route is looked up, no packet leaves
            return str(asked.getsockname()[0])
        except OSError:
            return socket.gethostname()


def qr(text: str) -> str:
    """A QR code of half blocks, white on black whatever the terminal's own colours are."""
    drawn = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(drawn, compact=True, border=2)
    return "".join(f"\x1b[97;40m{line}\x1b[0m\n" for line in drawn.getvalue().splitlines())


@dataclass(frozen=True, slots=True)
class Place:
    """Where the server listens."""

    host: str
    number: int


async def serve(served: Served, place: Place) -> int:
    """Find or start the recorder, then answer browsers until told to stop; the recorder goes on."""
    try:
        await (await connected(served.opening)).close()
    except NotStarted as error:
        click.echo(f"Refused: {printable(str(error))}", err=True)
        return error.code
    links = Links(place)
    mode = "may tag" if served.control else "watching"
    server = Server(links.door, served.words(), mode, entered=links.used)
    runner = web.AppRunner(server.application(), access_log=None, shutdown_timeout=ENDS_WITHIN_S)
    await runner.setup()
    try:
        await web.TCPSite(runner, place.host, place.number).start()
        links.number = runner.addresses[0][1]
        await _until_told(links)
    except OSError as error:
        click.echo(f"The page cannot be served at {place.host}: {error.strerror}. Another port: --web-port.", err=True)
        return USAGE
    finally:
        await runner.cleanup()
    click.echo(f"Stopped. The recorder goes on: risewalk walk {quote(str(served.opening.session))}")
    return OK


async def _until_told(links: "Links") -> None:
    """A new link for each line typed, until a signal or the end of a keyboard."""
    over, loop = asyncio.Event(), asyncio.get_running_loop()
    for number in SIGNALS:
        loop.add_signal_handler(number, over.set)

    async def listen() -> None:
        async for line in typed():
            if line in ("quit", "q"):
                break
            links.show()
        if sys.stdin.isatty():
            over.set()

    links.show()
    listening = asyncio.create_task(listen())
    try:
        await over.wait()
    finally:
        listening.cancel()
        await asyncio.gather(listening, return_exceptions=True)
        for number in SIGNALS:
            loop.remove_signal_handler(number)


class Links:
    """Links shown in the terminal, each good for one browser."""

    def __init__(self, place: Place) -> None:
        self.door = Door(place.host)
        self.number = place.number
        self._host = place.host

    def show(self) -> None:
        """A new link; the one before opens no more."""
        link = f"http://{reached_at(self._host)}:{self.number}/?token={self.door.new_token()}"
        click.echo(f"\n{link}")
        if sys.__stdout__ is not None and sys.__stdout__.isatty():
            sys.__stdout__.write(qr(link))  # past the guard of standard output: these codes are ours
            sys.__stdout__.flush()
        click.echo("The link opens one browser, once. Enter: a link for another one. Ctrl-C: stop serving.")
        click.echo(ALONE if self._host in LOOPBACK else TRUSTED)

    def used(self, by: str) -> None:
        """Tell that somebody came in."""
        click.echo(f"Opened from {printable(by)}.")
