"""Identification of the speed: what a receiver delivers at the wrong one is made by sampling the line bit by bit."""

import asyncio
import random
import time
from collections.abc import AsyncIterator
from functools import cache, reduce
from operator import xor

import pytest

from drivers.identify import recognise
from drivers.identify.hearing import SPEEDS, identify
from drivers.identify.proposal import UNSURE
from drivers.reading import Chunk
from drivers.tables import SerialTable

FRAMES = {"8N1": (8, None, 1), "7E1": (7, 0, 1), "7O1": (7, 1, 1), "8E1": (8, 0, 1), "8O2": (8, 1, 2)}
"""Data bits, what parity adds up to, stop bits."""


@cache
def wave(stream: str, frame: str) -> list[int]:
    """The levels of the line, one a bit: a start bit of 0, data from the lowest, parity, stop bits of 1; idle between."""
    data = STREAMS[stream]()
    bits, odd, stops = FRAMES[frame]
    chance, levels = random.Random(7), [1] * 12
    for at, byte in enumerate(data):
        row = [byte >> i & 1 for i in range(bits)]
        parity = [] if odd is None else [(sum(row) + odd) % 2]
        levels += [0, *row, *parity, *[1] * stops, *[1] * (chance.randint(20, 60) if byte == 10 and at else 0)]
    return levels


@cache
def sampled(stream: str, frame: str, faster: float) -> bytes:
    """What a receiver set to 8N1, so many times as fast, makes of it: the middle of each bit.

    A wrong stop bit still yields its byte.
    """
    levels, step, at, got = wave(stream, frame), 1 / faster, 0.0, bytearray()

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


def heights() -> list[float]:
    chance = random.Random(3)
    return [0.4 + chance.gauss(0, 0.01) + i / 400 for i in range(40)]


def lines() -> bytes:
    return b"".join(b"%+08.4f m\r\n" % h for h in heights())


def sentences() -> bytes:
    bodies = [b"YXXDR,D,%.4f,M,LEVEL" % h for h in heights()]
    return b"".join(b"$%s*%02X\r\n" % (body, reduce(xor, body, 0)) for body in bodies)


def inches() -> bytes:
    return b"".join(b"%03d;%8.3f;in;S;18.5;C\r\n" % (i, h / 0.0254) for i, h in enumerate(heights()))


SECONDS = 3.0
STREAMS = {"metres": lines, "sentences": sentences, "inches in columns": inches}


class Line:
    """A port in memory on which somebody sends at one speed whatever the receiver is set to."""

    def __init__(self, sent: int, frame: str, stream: str) -> None:
        self._stream, self._frame, self._sent, self._baud = stream, frame, sent, SPEEDS[0]
        self.told = f"{stream}, {frame}"
        self.written = b""

    async def open(self) -> None:
        """Nothing to do."""

    async def adjust(self, table: SerialTable) -> None:
        self._baud = table.baud

    async def chunks(self) -> AsyncIterator[Chunk]:
        while True:
            heard = sampled(self._stream, self._frame, self._baud / self._sent)
            for at in range(0, len(heard), 200):
                yield Chunk(time.monotonic(), heard[at : at + 200])
            await asyncio.sleep(0.01)

    async def write(self, data: bytes) -> None:
        self.written += data

    async def close(self) -> None:
        """Nothing to do."""


def test_the_right_speed_gives_the_bytes_back() -> None:
    assert sampled("metres", "8N1", 1.0) == lines()


HEARD = [("metres", "8N1"), ("metres", "7E1"), ("metres", "8O2"), ("sentences", "7E1"), ("inches in columns", "7O1")]


@pytest.mark.parametrize(("stream", "frame"), HEARD)
def test_the_wrong_speed_is_never_sure(stream: str, frame: str) -> None:
    for faster in {heard / sent for sent in SPEEDS for heard in SPEEDS if heard != sent}:
        found = recognise(sampled(stream, frame, faster))
        assert found.confidence < UNSURE, (faster, found.candidates[0])


@pytest.mark.parametrize("sent", SPEEDS)
async def test_the_speed_is_found(sent: int) -> None:
    """Each stream in another framing at each speed; between them all framings are heard at several speeds."""
    turn = SPEEDS.index(sent)
    framings = [[*FRAMES][(turn + 2 * i) % len(FRAMES)] for i in range(len(STREAMS))]
    lines = [Line(sent, frame, stream) for frame, stream in zip(framings, STREAMS, strict=True)]
    found = await asyncio.gather(*(identify("memory", SECONDS, make=lambda *_, p=line: p) for line in lines))
    for line, heard in zip(lines, found, strict=True):
        assert heard.best is not None, line.told
        assert heard.best.instrument is not None, line.told
        assert heard.best.instrument.serial.baud == sent, line.told
        assert heard.best.confidence >= UNSURE, line.told
        shown = [reading.height_m for reading in heard.readings]
        assert len(shown) > 20
        assert all(min(abs(height - h) for h in heights()) < 6e-5 for height in shown), line.told
        assert line.written == b""
