"""Modbus RTU: registers read by function 3 or 4, answered in a frame with a CRC.

    question   unit function first-register(2) count(2) crc(2)
    answer     unit function byte-count registers(2 each) crc(2)
    exception  unit function+80h code crc(2)

A frame is known by its unit, function, length and CRC, so a line shared with others, or heard from its middle, does
not mislead. Answers are matched to the last question heard on the line, and to our own read where none was heard.
"""

import math
import struct

from drivers.checks import crc16
from drivers.decoders import BaseDecoder
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reject
from drivers.readings import Readings, Row
from drivers.tables import REGISTERS, ModbusTable

EXCEPTIONS = {
    1: "illegal function: it does not know this question; try the other of functions 3 and 4",
    2: "illegal data address: it has no such register",
    3: "illegal data value: it does not give so many registers at once",
    4: "device failure",
    5: "acknowledged, busy with a long command",
    6: "busy",
    8: "memory parity error",
    10: "gateway path unavailable",
    11: "gateway target did not answer",
}
"""Modbus Application Protocol 1.1b3, section 7."""
LONGEST = 256
QUESTION = 8
CUT_S = 0.3
"""A frame that pauses this long was cut; the standard's 1.5 characters do not survive drivers and adapters."""
FORMATS = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}


def crc_holds(frame: bytes) -> bool:
    """Whether a frame with its CRC is whole: the CRC over both is zero."""
    return crc16(frame) == 0


def register_value(data: bytes, kind: str, order: str) -> float:
    """The number in two or four register bytes; `order` names the place of each byte, A the highest."""
    if len(data) == 4:
        data = bytes(data[order.index(letter)] for letter in "ABCD")
    elif order in ("BADC", "DCBA"):
        data = data[::-1]
    value: float = struct.unpack(FORMATS[kind], data)[0]
    return float(value)


class ModbusDecoder(BaseDecoder):
    """Answers of one unit to readings."""

    def __init__(self, instrument: InstrumentFile) -> None:
        super().__init__()
        assert isinstance(instrument.decoder, ModbusTable)
        self._table = table = instrument.decoder
        self._scale = instrument.scale
        self._first, self._count = table.span
        self._buffer = bytearray()
        self._heard_s = -math.inf
        self._asked: tuple[int, int] | None = None
        question = struct.pack(">BBHH", table.unit, table.function, self._first, self._count)
        self._question = None if table.listen else question + crc16(question).to_bytes(2, "little")

    def request(self) -> bytes | None:
        """The one read that holds all values; None where another master asks."""
        return self._question

    def reset(self) -> None:
        """Forget the cut frame and the question heard."""
        self._buffer.clear()
        self._asked = None

    def feed(self, chunk: Chunk) -> Readings:
        """The readings of the answers this chunk completed."""
        if self._buffer and chunk.t_s - self._heard_s > CUT_S:
            self.rejects[Reject.LENGTH] += 1
            self._buffer.clear()
        self._heard_s = chunk.t_s
        rows: list[Row] = []
        for start in range(0, len(chunk.data), LONGEST):
            self._buffer += chunk.data[start : start + LONGEST]
            rows += [row for frame in self._scan() if (row := self._read(frame)) is not None]
        return Readings.of(chunk.t_s, rows)

    def _scan(self) -> list[bytes]:
        """Take the whole frames out of the buffer; what may yet become one stays."""
        frames, at, buffer = [], 0, bytes(self._buffer)
        kept: int | None = None
        while at < len(buffer):
            size, may_grow = self._frame_at(buffer, at)
            if size:
                frames.append(buffer[at : at + size])
                at, kept = at + size, None
            else:
                if may_grow and kept is None:
                    kept = at
                at += 1
        done = max(len(buffer) - LONGEST, len(buffer) if kept is None else kept)
        if done > sum(map(len, frames)):
            self.rejects[Reject.NOT_MINE] += 1
        del self._buffer[:done]
        return frames

    def _frame_at(self, buffer: bytes, at: int) -> tuple[int, bool]:
        """Size of the whole frame that begins here (0 if none), and whether more bytes could make it one."""
        table, left = self._table, len(buffer) - at
        if buffer[at] != table.unit:
            return 0, False
        if left < 2:
            return 0, True
        function, answer = buffer[at + 1], 0
        if function == table.function | 0x80:
            sizes = [5]
        elif function != table.function:
            return 0, False
        else:
            answer = buffer[at + 2] + 5 if left > 2 and buffer[at + 2] in self._lengths() else 0
            sizes = [size for size in (answer, QUESTION) if size] if left > 2 else [QUESTION]
        may_grow = False
        for size in sizes:
            if left < size:
                may_grow = True
            elif crc_holds(buffer[at : at + size]):
                return size, False
            elif size == answer:
                self.rejects[Reject.CHECKSUM] += 1
        return 0, may_grow

    def _lengths(self) -> set[int]:
        """Byte counts of answers that hold what is wanted."""
        lengths = {2 * self._count}
        if self._asked is not None:
            lengths.add(2 * self._asked[1])
        return lengths

    def _read(self, frame: bytes) -> Row | None:
        if frame[1] & 0x80:
            self.rejects[Reject.REFUSED] += 1
            self.remark(f"exception {frame[2]}: {EXCEPTIONS.get(frame[2], 'not in the standard')}")
            return None
        first, count = self._asked or (self._first, self._count)
        if len(frame) != frame[2] + 5 or (len(frame) == QUESTION and frame[2] != 2 * count):
            self._asked = struct.unpack(">HH", frame[2:6])
            return None
        if frame[2] != 2 * count:
            first = self._first
        if first > self._first or first + frame[2] // 2 < self._first + self._count:
            self.rejects[Reject.NOT_MINE] += 1
            return None
        return self._values(frame[3:-2], first)

    def _values(self, data: bytes, first: int) -> Row | None:
        table = self._table

        def value(address: int, kind: str, scale: float) -> float:
            at = 2 * (address - first)
            return scale * register_value(data[at : at + 2 * REGISTERS[kind]], kind, table.order)

        if table.status is not None:
            status = value(table.status.address, table.status.type, 1.0)
            if status != table.status_ok:
                self.rejects[Reject.REFUSED] += 1
                self.remark(f"status register reads {status:g}")
                return None
        height = self.judged(self._scale.height(value(table.address, table.type, table.scale)), self._scale)
        if height is None:
            return None
        extra = [
            value(r.address, r.type, r.scale) if r is not None else None for r in (table.temperature, table.battery)
        ]
        return height, *(v if v is None or math.isfinite(v) else None for v in extra)  # type: ignore[return-value]
