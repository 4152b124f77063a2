"""`ports`: what is plugged in."""

import asyncio

import click

from tui.cli.output import emit_json


@click.command("ports", short_help="What is plugged in or advertising.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def command(*, as_json: bool) -> None:
    """List serial ports with what the adapter tells of itself; nothing is opened.

    \b
        risewalk ports
        risewalk ports --json
    """
    from drivers.ports import PortFinder

    ports = [
        {
            "port": seen.port,
            "description": seen.description,
            "vid": seen.identity.vid,
            "pid": seen.identity.pid,
            "serial_number": seen.identity.serial_number,
            "location": seen.identity.location,
            "identity": str(seen.identity),
        }
        for seen in asyncio.run(PortFinder().listed())
    ]
    if as_json:
        emit_json({"ports": ports})
        return
    for port in ports:
        click.echo(f"{port['port']:<16} {port['description']:<32} {port['identity']}".rstrip())
    if not ports:
        click.echo("nothing is plugged in; risewalk simulate plays an instrument", err=True)
