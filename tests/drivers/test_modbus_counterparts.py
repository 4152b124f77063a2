"""Modbus RTU against programs of others: pymodbus answers our questions, and mbpoll (libmodbus) asks our instrument."""

import asyncio
import os
import pty
import re
import select
import shutil
import struct
import subprocess
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drivers.connection import Connection, Patience
from drivers.instrument import InstrumentFile, from_tables
from drivers.reading import Chunk, Reading
from drivers.registry import make_decoder
from drivers.simulator.hose import Behaviour
from drivers.simulator.players import PtyPlayer
from drivers.simulator.virtual import VirtualInstrument


@contextmanager
def joined() -> Iterator[tuple[str, str]]:
    """Two pseudo-terminals joined to one line, the names of both ends; a thread carries the bytes."""
    ends = [pty.openpty() for _ in range(2)]
    for _, slave in ends:
        tty.setraw(slave)
    (left, _), (right, _) = ends
    stop_read, stop = os.pipe()

    def carry() -> None:
        while True:
            ready, _, _ = select.select([left, right, stop_read], [], [])
            if stop_read in ready:
                return
            for fd, other in ((left, right), (right, left)):
                if fd in ready:
                    os.write(other, os.read(fd, 4096))

    thread = threading.Thread(target=carry)
    thread.start()
    try:
        yield os.ttyname(ends[0][1]), os.ttyname(ends[1][1])
    finally:
        os.write(stop, b".")
        thread.join()
        for fd in (*ends[0], *ends[1], stop_read, stop):
            os.close(fd)


def polled(**decoder: object) -> InstrumentFile:
    tables = {"instrument": {"name": "polled"}, "ask": {"every": "50 ms"}, "height": {"unit": "mm"}}
    return from_tables({**tables, "decoder": {"kind": "modbus", "unit": 7, **decoder}}, "test")


async def heard(port: str, instrument: InstrumentFile, enough: int) -> tuple[list[Reading], list[str]]:
    """So many readings by our own questions over a port, or the remarks once there is one."""
    connection = Connection(port, instrument, patience=Patience(silence=5.0))
    decoder, readings = make_decoder(instrument), list[Reading]()
    events = connection.events()
    try:
        async with asyncio.timeout(20):
            async for event in events:
                if isinstance(event, Chunk):
                    readings += decoder.feed(event)
                if len(readings) >= enough or decoder.remarks:
                    break
    finally:
        await connection.close()
        await events.aclose()
    return readings, decoder.remarks


async def from_pymodbus(registers: list[int], instrument: InstrumentFile) -> tuple[list[Reading], list[str]]:
    """What we read of a pymodbus server whose registers from 100 on hold these."""
    with joined() as (theirs, ours):
        data = SimData(100, values=registers, datatype=DataType.REGISTERS)
        server = ModbusSerialServer(SimDevice(7, simdata=[data]), framer=FramerType.RTU, port=theirs, baudrate=9600)
        serving = asyncio.create_task(server.serve_forever(background=True))
        try:
            await serving
            return await heard(ours, instrument, 5)
        finally:
            await server.shutdown()


WORDS = {
    "ABCD": list(struct.unpack(">HH", struct.pack(">f", -1234.5))),
    "CDAB": list(struct.unpack(">HH", struct.pack(">f", -1234.5)))[::-1],
    "DCBA": list(struct.unpack(">HH", struct.pack("<f", -1234.5))),
    "BADC": list(struct.unpack("<HH", struct.pack(">f", -1234.5))),
}


@pytest.mark.parametrize("function", [3, 4])
@pytest.mark.parametrize("order", sorted(WORDS))
async def test_floats_of_a_pymodbus_server(order: str, function: int) -> None:
    instrument = polled(address=100, function=function, order=order)
    readings, _ = await from_pymodbus(WORDS[order], instrument)
    assert len(readings) == 5
    assert {r.height_m for r in readings} == {-1.2345}


async def test_height_and_temperature_in_one_read() -> None:
    temperature = {"address": 102, "type": "int16", "scale": 0.1}
    instrument = polled(address=100, type="int32", scale=0.01, temperature=temperature)
    readings, _ = await from_pymodbus([0xFFFF, 0xFF38, 123], instrument)
    assert len(readings) == 5
    assert {(round(r.height_m, 9), round(r.temperature_c or 0.0, 6)) for r in readings} == {(-0.002, 12.3)}


async def test_exception_of_a_pymodbus_server_is_named() -> None:
    readings, remarks = await from_pymodbus([0, 0], polled(address=500))
    assert readings == []
    assert any("address" in remark for remark in remarks)


@pytest.mark.skipif(shutil.which("mbpoll") is None, reason="mbpoll is not installed (apt install mbpoll)")
def test_mbpoll_reads_our_virtual_instrument() -> None:
    virtual = VirtualInstrument(speak="modbus", seed=1, behaviour=Behaviour(noise_m=0, drift_m_per_h=0))
    virtual.hose.put(1.375, 0.0)
    with PtyPlayer(virtual) as player:
        ask = [
            "mbpoll",
            "-m",
            "rtu",
            "-a",
            "1",
            "-b",
            "9600",
            "-P",
            "none",
            "-0",
            "-r",
            "0",
            "-c",
            "4",
            "-t",
            "4:hex",
            "-1",
        ]
        done = subprocess.run([*ask, player.port], capture_output=True, text=True, timeout=30)
    assert done.returncode == 0, done.stderr
    words = [int(word, 16) for word in re.findall(r"^\[\d+\]:\s+0x([0-9A-F]{4})", done.stdout, re.MULTILINE)]
    height = struct.unpack(">f", struct.pack(">HH", *words[:2]))[0]
    assert height == pytest.approx(1.375)
    assert words[2:] == [150, 87], "15.0 degrees and 87 per cent"


@pytest.mark.skipif(shutil.which("mbpoll") is None, reason="mbpoll is not installed (apt install mbpoll)")
def test_mbpoll_is_told_of_a_register_that_is_not_there() -> None:
    with PtyPlayer(VirtualInstrument(speak="modbus", seed=1)) as player:
        ask = ["mbpoll", "-m", "rtu", "-a", "1", "-b", "9600", "-P", "none", "-0", "-r", "50", "-t", "4:hex", "-1"]
        done = subprocess.run([*ask, player.port], capture_output=True, text=True, timeout=30)
    assert "Illegal data address" in done.stdout + done.stderr
