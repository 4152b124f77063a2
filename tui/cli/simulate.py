"""`simulate`: a virtual instrument on a pseudo-terminal, moved by commands on stdin."""

import os
import signal
import stat
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from tui.cli.numbers import Finite
from tui.cli.output import emit_json

if TYPE_CHECKING:
    from drivers.simulator.players import Player

HELP = """Play a virtual instrument on a pseudo-terminal and print its port as one line of JSON.

\b
    risewalk simulate --ground slope.csv --speak lines --rate 20
    {"port": "/tmp/risewalk-port-x/level", "instrument": "ascii-lines"}

Then one command a line on stdin, each answered by one line of JSON: at STATION, point NAME HEIGHT, shift, unplug,
replug, noise LENGTH, drift LENGTH, temperature C, fault KIND CHANCE, quit. Faults are drop-out, garbage, checksum,
spike, duplicate and battery. Lengths are in metres unless a unit is written.
"""
PROTOCOLS = ("lines", "polled", "nmea0183", "scpi", "modbus", "frames", "pressure", "pressure-modbus")


@click.command("simulate", help=HELP, short_help="Play a virtual instrument on a pseudo-terminal.")
@click.option("--ground", required=True, type=click.Path(path_type=Path), help="CSV with station_m,elevation_m.")
@click.option("--speak", type=click.Choice(PROTOCOLS), default="lines", help="The protocol it speaks.")
@click.option("--rate", type=Finite(0.01, 100_000), default=10.0, help="Readings a second (default 10).")
@click.option("--seed", type=int, default=0, help="Of noise and faults; the same seed gives the same run.")
@click.option("--noise", default="0.2 mm", help="Standard deviation of one reading (default 0.2 mm).")
@click.option("--drift", default="0.5 mm", help="How far the zero wanders in an hour (default 0.5 mm).")
@click.option("--tcp", is_flag=False, flag_value=0, type=click.IntRange(0, 65535), help="On this TCP port instead.")
def command(*, ground: Path, speak: str, rate: float, seed: int, noise: str, drift: str, tcp: int | None) -> None:
    """Play until `quit`, the end of input, or a signal."""
    from drivers.lengths import length_m
    from drivers.simulator.ground import GroundFileError, read_ground
    from drivers.simulator.hose import Behaviour
    from drivers.simulator.players import PtyPlayer, TcpPlayer
    from drivers.simulator.virtual import VirtualInstrument
    from logger.errors import WrongFile

    behaviour = Behaviour(noise_m=abs(length_m(noise)), drift_m_per_h=length_m(drift))
    try:
        line = read_ground(ground)
    except GroundFileError as error:
        raise WrongFile(ground, error.mistakes) from error
    virtual = VirtualInstrument(line, speak, seed=seed, rate_hz=rate, behaviour=behaviour)
    for number in (signal.SIGTERM, getattr(signal, "SIGHUP", signal.SIGTERM)):
        signal.signal(number, _leave)
    player = PtyPlayer(virtual) if tcp is None else TcpPlayer(virtual, number=tcp)
    with player, suppress(KeyboardInterrupt):
        emit_json({"port": player.port, "instrument": virtual.instrument, "speak": speak}, line=True)
        _obey(player)


def _obey(player: "Player") -> None:
    from drivers.simulator.stage import Stage

    stage = Stage(player)
    for line in sys.stdin:
        if line.strip():
            emit_json(stage.command(line), line=True)
        if stage.ended:
            return
    if not _ends_with_input():
        click.echo("risewalk: playing until it is ended (Ctrl-C)", err=True)
        while True:
            signal.pause()


def _ends_with_input() -> bool:
    """Whether the end of input means that the other program has gone; started in the background it means nothing."""
    mode = os.fstat(sys.stdin.fileno()).st_mode
    return stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode) or stat.S_ISREG(mode)


def _leave(number: int, _: object) -> NoReturn:
    sys.exit(128 + number)
