"""Identification of the speed: what a receiver delivers at the wrong one is made by sampling the line bit by bit."""

import asyncio
import random
import time
from collections.abc import AsyncIterator

import pytest

from drivers.identify import recognise
from drivers.identify.hearing import SPEEDS, identify
from drivers.identify.proposal import UNSURE
from drivers.reading import Chunk
from drivers.tables import SerialTable

FRAMES = {"8N1": (8, None, 1), "7E1": (7, 0, 1), "8O2": (8, 1, 2)}
"""Data bits, what parity adds up to, stop bits."""


def wave(data: bytes, frame: str) -> list[int]:
    """The levels of the line, one a bit: a start bit of 0, data from the lowest, parity, stop bits of 1; idle between."""
    bits, odd, stops = FRAMES[frame]
    chance, levels = random.Random(7), [1] * 12
    for at, byte in enumerate(data):
        row = [byte >> i & 1 for i in range(bits)]
        parity = [] if odd is None else [(sum(row) + odd) % 2]
        levels += [0, *row, *parity, *[1] * stops, *[1] * (chance.randint(20, 60) if byte == 10 and at else 0)]
    return levels


def sampled(levels: list[int], sent: int, heard: int) -> bytes:
    """What a receiver set to `heard` 8N1 makes of it: the middle of each bit; a wrong stop bit still yields its byte."""
    step, at, got = sent / heard, 0.0, bytearray()

    def level(when: float) -> int:
        return levels[int(when)] if when < len(levels) else 1

    while at < len(levels):
        if level(at):
            at = int(at) + 1.0
            continue
        got.append(sum(level(at + (i + 1.5) * step) << i for i in range(8)))
        at += 9.5 * step
        while at < len(levels) and not level(at):
            at = int(at) + 1.0
    return bytes(got)


def lines() -> bytes:
    chance = random.Random(3)
    return b"".join(b"%+08.4f m\r\n" % (0.4 + chance.gauss(0, 0.01) + i / 400) for i in range(80))


class Line:
    """A port in memory on which somebody sends at one speed whatever the receiver is set to."""

    def __init__(self, sent: int, frame: str) -> None:
        self._levels, self._sent, self._baud = wave(lines(), frame), sent, SPEEDS[0]
        self.written = b""

    async def open(self) -> None:
        """Nothing to do."""

    async def adjust(self, table: SerialTable) -> None:
        self._baud = table.baud

    async def chunks(self) -> AsyncIterator[Chunk]:
        while True:
            heard = sampled(self._levels, self._sent, self._baud)
            for at in range(0, len(heard), 200):
                yield Chunk(time.monotonic(), heard[at : at + 200])
            await asyncio.sleep(0.01)

    async def write(self, data: bytes) -> None:
        self.written += data

    async def close(self) -> None:
        """Nothing to do."""


def test_the_right_speed_gives_the_bytes_back() -> None:
    assert sampled(wave(lines(), "8N1"), 9600, 9600) == lines()


@pytest.mark.parametrize("frame", FRAMES)
@pytest.mark.parametrize("sent", SPEEDS)
def test_the_wrong_speed_is_never_sure(sent: int, frame: str) -> None:
    levels = wave(lines(), frame)
    for heard in SPEEDS:
        if heard != sent:
            found = recognise(sampled(levels, sent, heard))
            assert found.confidence < UNSURE, (heard, found.candidates[0])


@pytest.mark.parametrize("frame", FRAMES)
@pytest.mark.parametrize("sent", [9600, 4800, 38400, 1200])
def test_the_speed_is_found(sent: int, frame: str) -> None:
    line = Line(sent, frame)
    found = asyncio.run(identify("memory", 1.2, make=lambda *_: line))
    assert found.best is not None
    assert found.best.instrument is not None
    assert found.best.instrument.serial.baud == sent
    assert found.best.confidence >= UNSURE
    assert line.written == b""
