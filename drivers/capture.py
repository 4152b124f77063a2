"""A file of captured bytes decoded by an instrument file: what `instruments check --against` shows."""

import re
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from drivers.decoders.lines import LinesDecoder
from drivers.errors import InstrumentFileError
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reading, Reject
from drivers.registry import make_decoder
from drivers.tables import GattTable

PIECE = 4096
PIECE_S = 0.1
"""Most time in one piece: decoders take a long pause between two for a gap."""
BITS_A_BYTE = 10
"""Start, eight data bits, stop: the usual time of one byte on a line."""
VALUE = re.compile(rb"([\w/-]+) ([0-9A-Fa-f]*)")


@dataclass(slots=True)
class Decoded:
    """What a capture holds by an instrument file."""

    bytes: int = 0
    readings: list[Reading] = field(default_factory=list)
    rejects: Counter[Reject] = field(default_factory=Counter)
    remarks: list[str] = field(default_factory=list)


def captured(path: Path, baud: int, channel: str = "") -> Iterator[Chunk]:
    """The bytes of a file in pieces, timed as a line of this speed would have brought them."""
    at, size = 0, min(max(int(PIECE_S * baud / BITS_A_BYTE), 1), PIECE)
    with _opened(path) as capture:
        while data := capture.read(size):
            at += len(data)
            yield Chunk(at * BITS_A_BYTE / baud, data, channel)


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    try:
        with path.open("rb") as capture:
            yield capture
    except OSError as error:
        raise InstrumentFileError(str(path), [f"cannot be read: {error.strerror}"]) from None


def values(path: Path) -> Iterator[Chunk]:
    """The values of characteristics in a file that `listen --bytes` wrote: `2a6c 7b0000` a line, the rest passed over.

    InstrumentFileError where there are none.
    """
    found = 0
    with _opened(path) as capture:
        while line := capture.readline(PIECE):
            if (value := VALUE.fullmatch(line.strip())) is not None and len(value[2]) % 2 == 0:
                found += 1
                yield Chunk(0.1 * found, bytes.fromhex(value[2].decode()), value[1].decode().lower())
    if not found:
        raise InstrumentFileError(str(path), ["no line in it is a value such as 2a6c 7b0000; see listen --bytes"])


def pieces(instrument: InstrumentFile, path: Path) -> Iterator[Chunk]:
    """A capture as the transport of this instrument would have handed it on."""
    table = instrument.decoder
    if isinstance(table, GattTable) and table.characteristic:
        return values(path)
    return captured(path, instrument.serial.baud, table.notify if isinstance(table, GattTable) else "")


def decode_capture(instrument: InstrumentFile, path: Path) -> Decoded:
    """Decode a whole capture; InstrumentFileError if the file cannot be read."""
    decoder, decoded = make_decoder(instrument), Decoded()
    for chunk in pieces(instrument, path):
        decoded.bytes += len(chunk.data)
        decoded.readings += decoder.feed(chunk)
    if isinstance(decoder, LinesDecoder):
        decoded.readings += decoder.finish(decoded.bytes * BITS_A_BYTE / instrument.serial.baud)
    decoded.rejects, decoded.remarks = decoder.rejects, decoder.remarks
    return decoded
