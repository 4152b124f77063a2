"""SCPI against an instrument played by sinstruments on its own pseudo-terminal."""

import asyncio
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers.connection import Connection, Patience
from drivers.instrument import load
from drivers.reading import Chunk
from drivers.registry import make_decoder

PLAYED = """
import sys
from sinstruments.simulator import BaseDevice, Server


class Height(BaseDevice):
    asked = 0

    def handle_message(self, message):
        answers = []
        for word in message.decode().strip().split(";"):
            if word == "*IDN?":
                answers.append("Invented,Level,0,1")
            elif word.upper() == "MEAS?":
                self.asked += 1
                answers.append("9.91E37" if self.asked % 3 == 0 else "+1.23450E+00")
            elif word.upper().startswith("SYST:ERR"):
                answers.append('0,"No error"')
        return (";".join(answers) + "\\n").encode() if answers else None


line = {"type": "serial", "url": sys.argv[1]}
device = {"class": "Height", "package": "__main__", "name": "level", "transports": [line]}
server = Server(devices=[device])
print("ready", flush=True)
server.serve_forever()
"""


@pytest.fixture
def port(tmp_path: Path) -> Iterator[str]:
    """The name of the pseudo-terminal on which another program plays the instrument."""
    name = str(tmp_path / "level")
    playing = subprocess.Popen([sys.executable, "-c", PLAYED, name], stdout=subprocess.PIPE, text=True)
    assert playing.stdout is not None
    try:
        assert playing.stdout.readline() == "ready\n"
        yield name
    finally:
        playing.kill()
        playing.wait()
        playing.stdout.close()


async def test_heights_of_another_programs_instrument(port: str) -> None:
    instrument = load("scpi-height")
    connection, decoder = Connection(port, instrument, patience=Patience(silence=5.0)), make_decoder(instrument)
    events, heights = connection.events(), list[float]()
    try:
        async with asyncio.timeout(20):
            async for event in events:
                if isinstance(event, Chunk):
                    heights += [r.height_m for r in decoder.feed(event)]
                if len(heights) >= 8:
                    break
    finally:
        await connection.close()
        await events.aclose()
    assert set(heights) == {1.2345}
    assert decoder.rejects.total() >= 3, "9.91E37 is no height"


def test_two_bytes_of_noise_are_no_number() -> None:
    decoder = make_decoder(load("scpi-height"))
    assert not decoder.feed(Chunk(0.0, b"1.0\n\xdf\x80\n\xdf\x81 M\n"))
