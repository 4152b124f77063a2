"""What goes wrong when a port is opened, by its own error and with what to do."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
import serial
from link_bench import QUICK, connected, is_chunk, level, raised, until

from drivers.connection import Connection
from drivers.errors import PortBusy, PortDenied, PortMissing, PortSilent
from drivers.instrument import load
from drivers.simulator.players import PtyPlayer, TcpPlayer
from drivers.transports.serial_faults import holders_of, port_error


async def test_missing_port() -> None:
    error = await raised("/dev/ttyUSB77")
    assert isinstance(error, PortMissing)
    assert "risewalk ports" in str(error)


async def test_file_that_is_no_port(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("x")
    for port in (str(tmp_path / "notes"), "/dev/null"):
        error = await raised(port)
        assert isinstance(error, PortMissing)
        assert "is no serial port" in str(error)


@pytest.mark.parametrize(
    "port", ["socket://", "socket://x:99999999", "rfc2217://", "loop://?x=1", "hwgrep://[", "a\0b"]
)
async def test_what_is_no_address_is_told(port: str) -> None:
    error = await raised(port)
    assert isinstance(error, PortMissing)
    assert ("HOST:PORT" in str(error)) == port.startswith(("socket", "rfc2217"))


async def test_busy_port_names_who_may_hold_it(player: PtyPlayer) -> None:
    async with connected(Connection(player.port, load("ascii-lines"), patience=QUICK)) as events:
        await until(events, is_chunk)
        error = await raised(player.port)
        assert isinstance(error, PortBusy)
        assert "holds it" in str(error)


async def test_silent_port() -> None:
    with PtyPlayer(level("polled")) as silent:
        error = await raised(silent.port)
        assert isinstance(error, PortSilent)
        assert "[ask]" in str(error)


def test_denied_port_says_which_group() -> None:
    error = port_error("/dev/null", PermissionError(13, "Permission denied"))
    assert isinstance(error, PortDenied)
    assert "usermod -aG" in str(error)


async def test_scheme_nobody_serves() -> None:
    error = await raised("pigeon://coop")
    assert isinstance(error, PortMissing)
    assert "known are serial" in str(error)


async def test_nobody_listens_at_the_socket() -> None:
    with TcpPlayer(level()) as remote:
        port = remote.port
    assert isinstance(await raised(port), PortMissing)


def test_a_server_that_does_not_answer_is_no_wrong_address() -> None:
    """What pyserial makes of a connection that times out, and of a server of another protocol."""
    for text in ("Could not open port socket://192.0.2.1:7: timed out", "Remote does not seem to support RFC2217"):
        error = port_error("rfc2217://192.0.2.1:7", serial.SerialException(text))
        assert isinstance(error, PortMissing)
        assert "no address" not in str(error)


def test_who_holds_a_port_is_not_who_plays_it(tmp_path: Path) -> None:
    """The far end of a pseudo-terminal has both ends open; the one to close is another program."""
    ground = tmp_path / "slope.csv"
    ground.write_text("station_m,elevation_m\n0,0\n3,1\n")
    play = [sys.executable, "-m", "tui.cli", "simulate", "--ground", str(ground)]
    hold = [
        sys.executable,
        "-c",
        "import sys; port = open(sys.argv[1], 'rb'); print('open', flush=True); sys.stdin.read()",
    ]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(play, **pipes) as player:
        port = json.loads(player.stdout.readline())["port"]
        assert holders_of(port) == []
        with subprocess.Popen([*hold, port], **pipes) as holder:
            assert holder.stdout.readline() == "open\n"
            holders = holders_of(port)
            holder.communicate("")
        player.communicate("quit\n")
    assert [holder.pid] == [int(re.search(r"process (\d+)", h)[1]) for h in holders]
