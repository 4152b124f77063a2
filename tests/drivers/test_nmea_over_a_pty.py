"""Every captured NMEA log played through a real pseudo-terminal that our serial transport opens.

What must come out is read from the table in the notes beside the logs, made by pynmea2 and an XOR check of its own.
"""

import asyncio
import os
import pty
import re
import select
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import reduce
from operator import xor
from pathlib import Path

import pynmea2
import pytest

from drivers.decoders.nmea0183 import sentences_of
from drivers.framing import LineFramer
from drivers.instrument import from_tables
from drivers.reading import Chunk, Reject
from drivers.registry import make_decoder, make_transport
from drivers.transports.serial_port import SerialTransport

PIECE = 700
"""Bytes a write: no multiple of a line, so that most sentences arrive cut."""
KINDS = ("GGA", "DPT", "DBT")
CORPUS = Path(os.environ.get("RISEWALK_CORPUS", Path(__file__).parents[3] / "shared" / "corpus"))
LOGS = sorted(p.stem for p in CORPUS.glob("nmea/*.log")) or ["no-log"]


@dataclass(frozen=True)
class Noted:
    """A row of the notes: sentences by their checksum, and count with least and most height of each kind."""

    valid: int
    bad: int
    absent: int
    heights: dict[str, tuple[int, list[float]]]


def noted(corpus: Path) -> dict[str, Noted]:
    """The table of the notes by log."""
    rows = {}
    for line in (corpus / "NOTES.md").read_text().splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 6 and cells[1].isdigit():
            dpt, _, dbt = cells[5].partition("/")
            spans = dict(zip(KINDS, map(span, (cells[4], dpt, dbt)), strict=True))
            rows[cells[0]] = Noted(*map(int, cells[1:4]), heights=spans)
    assert len(rows) == 14
    return rows


def span(text: str) -> tuple[int, list[float]]:
    """`138: -6 to -4` as count and ends; `148` alone is a count."""
    count, _, ends = text.strip().partition(":")
    return int(count or 0), [float(number) for number in re.findall(r"-?\d+\.?\d*", ends)]


@contextmanager
def playing(data: bytes) -> Iterator[tuple[str, threading.Event]]:
    """A pseudo-terminal whose far end a thread writes once told to, never more than the line takes; its name."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    go, stop = threading.Event(), threading.Event()

    def play() -> None:
        go.wait()
        sent = 0
        while sent < len(data) and not stop.is_set():
            if select.select([], [master], [], 0.05)[1]:
                try:
                    sent += os.write(master, data[sent : sent + PIECE])
                except BlockingIOError:
                    continue

    thread = threading.Thread(target=play)
    thread.start()
    try:
        yield os.ttyname(slave), go
    finally:
        stop.set()
        go.set()
        thread.join()
        os.close(master)
        os.close(slave)


def checked_by_hand(data: bytes) -> int:
    """Sentences whose two digits are the exclusive or of what stands between `$` and `*`."""
    found = re.findall(rb"[$!]([ -#%-)+-~]*)\*([0-9A-Fa-f]{2})[ \t]*(?=[\r\n$]|$)", data)
    return sum(reduce(xor, body, 0) == int(told, 16) for body, told in found)


def refused_by_pynmea2(data: bytes) -> int:
    """Sentences with a right checksum that pynmea2 does not parse, which the notes left out."""
    refused = 0
    for body, told in re.findall(rb"[$!]([ -#%-)+-~]*)\*([0-9A-Fa-f]{2})[ \t]*(?=[\r\n$]|$)", data):
        if reduce(xor, body, 0) == int(told, 16):
            try:
                pynmea2.parse(f"${body.decode()}*{told.decode()}", check=True)
            except pynmea2.ParseError:
                refused += 1
    return refused


async def through_a_pty(data: bytes) -> list[Chunk]:
    """The chunks in which our serial transport delivers a log."""
    open_before = len(os.listdir("/proc/self/fd"))
    chunks: list[Chunk] = []
    with playing(data) as (port, go):
        transport = make_transport(
            port, from_tables({"instrument": {"name": "log"}, "decoder": {"kind": "nmea0183"}}, "test")
        )
        assert isinstance(transport, SerialTransport)
        await transport.open()
        try:
            go.set()
            heard = 0
            async with asyncio.timeout(30):
                async for chunk in transport.chunks():
                    chunks.append(chunk)
                    heard += len(chunk.data)
                    if heard >= len(data):
                        break
        finally:
            await transport.close()
    assert len(os.listdir("/proc/self/fd")) == open_before
    return chunks


def decoded(chunks: list[Chunk], kind: str, checksum: str = "required") -> tuple[list[float], int]:
    """Heights by one kind of sentence, and how many sentences were refused for their checksum."""
    table = {"kind": "nmea0183", "sentence": kind, "checksum": checksum}
    decoder = make_decoder(from_tables({"instrument": {"name": "log"}, "decoder": table}, "test"))
    heights = [r.height_m for chunk in chunks for r in decoder.feed(chunk)]
    return heights, decoder.rejects[Reject.CHECKSUM]


@pytest.mark.parametrize("name", LOGS)
async def test_log_over_a_pty(corpus: Path, name: str) -> None:
    log = (corpus / "nmea" / f"{name}.log").read_bytes()
    data = re.sub(rb"(?m)^#.*\n", b"", log)  # what the recorder wrote, not the device
    chunks = await through_a_pty(data)
    assert b"".join(chunk.data for chunk in chunks) == data, "not a byte lost or changed on the way"
    refused, bad = decoded(chunks, "GGA")[1], decoded(chunks, "GGA", "optional")[1]
    by_hand = checked_by_hand(data)
    framer = LineFramer()
    lines = [line for chunk in chunks for line in framer.feed(chunk.data)]
    assert sum(len(sentences_of(line)) for line in lines) - refused == by_hand
    heights = {kind: decoded(chunks, kind)[0] for kind in KINDS}
    row = noted(corpus).get(name)
    if row is None:
        assert not any(heights.values()), "no heights are known of it"
        return
    assert (by_hand, bad, refused - bad) == (row.valid + refused_by_pynmea2(data), row.bad, row.absent)
    for kind, (count, ends) in row.heights.items():
        assert len(heights[kind]) == count
        if ends:
            assert (min(heights[kind]), max(heights[kind])) == pytest.approx((ends[0], ends[-1]), abs=0.01)


async def test_pure_binary_yields_nothing_over_a_pty(corpus: Path) -> None:
    data = (corpus / "nmea" / "sirf2.log").read_bytes()
    chunks = await through_a_pty(data)
    assert b"".join(chunk.data for chunk in chunks) == data
    for kind in (*KINDS, "XDR"):
        for checksum in ("required", "optional"):
            assert decoded(chunks, kind, checksum)[0] == []


@pytest.mark.parametrize("checksum", ["required", "optional"])
def test_sentences_that_run_into_each_other_are_all_read(checksum: str) -> None:
    def sentence(body: str) -> str:
        return f"${body}*{reduce(xor, body.encode(), 0):02X}"

    dpt = [sentence(f"SDDPT,{depth},0.0") for depth in (1.5, 1.6, 1.7, 1.8)]
    text = f"{dpt[0]}{dpt[1]}\r\n$SDDPT,9.9,0.{dpt[2]}\r\n$SD,9.9{sentence('SDMTW,12.0,C')}{dpt[3]}\r\n"
    table = {"kind": "nmea0183", "sentence": "DPT", "checksum": checksum}
    decoder = make_decoder(from_tables({"instrument": {"name": "log"}, "decoder": table}, "test"))
    readings = decoder.feed(Chunk(0.0, text.encode()))
    assert [(r.height_m, r.temperature_c) for r in readings] == [(1.5, None), (1.6, None), (1.7, None), (1.8, 12.0)]
    assert decoder.rejects == {Reject.CHECKSUM if checksum == "required" else Reject.LENGTH: 1}
