"""`ports`: what is plugged in."""

import asyncio

import click

from tui.cli.numbers import Finite
from tui.cli.output import emit_json


@click.command("ports", short_help="What is plugged in or advertising.")
@click.option("--ble", is_flag=True, help="Instead: what advertises over Bluetooth LE.")
@click.option("--seconds", type=Finite(0.2, 600), default=5.0, show_default=True, help="How long to scan.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def command(*, ble: bool, seconds: float, as_json: bool) -> None:
    """List serial ports with what the adapter tells of itself; nothing is opened.

    \b
        risewalk ports
        risewalk ports --json
        risewalk ports --ble       name, signal, services, and which shipped instrument may fit
    """
    if ble:
        _advertising(seconds, as_json=as_json)
        return
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


def _advertising(seconds: float, *, as_json: bool) -> None:
    from drivers.ble_identify import advertising
    from tui.cli import printable

    heard = asyncio.run(advertising(seconds))
    if as_json:
        rows = [
            {
                "port": found.port,
                "name": found.seen.name,
                "address": found.seen.address,
                "rssi_dbm": found.seen.rssi,
                "services": list(found.seen.services),
                "instruments": list(found.instruments),
                "notes": list(found.notes),
            }
            for found in heard
        ]
        emit_json({"advertising": rows})
        return
    for found in heard:
        seen = found.seen
        signal = "" if seen.rssi is None else f"{seen.rssi} dBm"
        click.echo(f"{found.port:<24} {signal:>8}  {printable(seen.name or '(no name)')}")
        if seen.services:
            click.echo(f"    offers {', '.join(seen.services)}")
        if found.instruments:
            click.echo(f"    try --instrument {' or '.join(found.instruments)}")
        for note in found.notes:
            click.echo(f"    {printable(note)}")
    if not heard:
        click.echo(
            f"nothing advertised in {seconds:g} s; is the instrument on, and not connected to a phone?", err=True
        )
