"""Binary frames of fixed length: sync bytes, fields at their places, a check at the end."""

import math
import struct

from drivers.checks import check_bytes
from drivers.decoders import BaseDecoder
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reject
from drivers.readings import Readings, Row
from drivers.tables import CHECK_BYTES, FrameField, FramesTable


def field_value(frame: bytes, field: FrameField) -> float:
    """The number of one field."""
    data = frame[field.at : field.at + field.size]
    if field.order == "little":
        data = data[::-1]
    if field.type.startswith("float"):
        value = float(struct.unpack(">f" if field.size == 4 else ">d", data)[0])
    else:
        value = int.from_bytes(data, "big", signed=field.type.startswith("int"))
    return value * field.scale


class FramesDecoder(BaseDecoder):
    """Frames to readings. A frame with a wrong check is passed by one byte, for the right one may begin within it."""

    def __init__(self, instrument: InstrumentFile) -> None:
        super().__init__()
        assert isinstance(instrument.decoder, FramesTable)
        self._table = instrument.decoder
        self._sync = self._table.sync_bytes
        self._scale = instrument.scale
        self._ask = instrument.ask.send.encode() if instrument.ask is not None and instrument.ask.send else None
        self._buffer = b""

    def request(self) -> bytes | None:
        """The text the instrument file says to send, if any."""
        return self._ask

    def reset(self) -> None:
        """Forget the cut frame."""
        self._buffer = b""

    def feed(self, chunk: Chunk) -> Readings:
        """The readings of the frames this chunk completed."""
        buffer, at, length = self._buffer + chunk.data, 0, self._table.length
        rows: list[Row] = []
        while (start := buffer.find(self._sync, at)) >= 0 and start + length <= len(buffer):
            frame = buffer[start : start + length]
            if not self._check_holds(frame):
                self.rejects[Reject.CHECKSUM] += 1
                at = start + 1
                continue
            at = start + length
            if (row := self._read(frame)) is not None:
                rows.append(row)
        rest = max(at, len(buffer) - len(self._sync) + 1) if start < 0 else start
        self._buffer = buffer[rest:]
        return Readings.of(chunk.t_s, rows)

    def _check_holds(self, frame: bytes) -> bool:
        size = CHECK_BYTES[self._table.check]
        if size == 0:
            return True
        return check_bytes(self._table.check, frame[self._table.check_from : -size]) == frame[-size:]

    def _read(self, frame: bytes) -> Row | None:
        table = self._table
        if table.status is not None and field_value(frame, table.status) != table.status_ok:
            self.rejects[Reject.REFUSED] += 1
            return None
        height = self.judged(self._scale.height(field_value(frame, table.height)), self._scale)
        if height is None:
            return None
        extra = [field_value(frame, f) if f is not None else None for f in (table.temperature, table.battery)]
        return height, *(v if v is None or math.isfinite(v) else None for v in extra)  # type: ignore[return-value]
