"""A file of captured bytes decoded by an instrument file: what `instruments check --against` shows."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from drivers.decoders.lines import LinesDecoder
from drivers.errors import InstrumentFileError
from drivers.instrument import InstrumentFile
from drivers.reading import Chunk, Reading, Reject
from drivers.registry import make_decoder

PIECE = 4096
BITS_A_BYTE = 10
"""Start, eight data bits, stop: the usual time of one byte on a line."""


@dataclass(slots=True)
class Decoded:
    """What a capture holds by an instrument file."""

    bytes: int = 0
    readings: list[Reading] = field(default_factory=list)
    rejects: Counter[Reject] = field(default_factory=Counter)
    remarks: list[str] = field(default_factory=list)


def captured(path: Path, baud: int) -> Iterator[Chunk]:
    """The bytes of a file in pieces, timed as a line of this speed would have brought them."""
    at = 0
    try:
        with path.open("rb") as capture:
            while data := capture.read(PIECE):
                at += len(data)
                yield Chunk(at * BITS_A_BYTE / baud, data)
    except OSError as error:
        raise InstrumentFileError(str(path), [f"cannot be read: {error.strerror}"]) from None


def decode_capture(instrument: InstrumentFile, path: Path) -> Decoded:
    """Decode a whole capture; InstrumentFileError if the file cannot be read."""
    decoder, decoded = make_decoder(instrument), Decoded()
    for chunk in captured(path, instrument.serial.baud):
        decoded.bytes += len(chunk.data)
        decoded.readings += decoder.feed(chunk)
    if isinstance(decoder, LinesDecoder):
        decoded.readings += decoder.finish(decoded.bytes * BITS_A_BYTE / instrument.serial.baud)
    decoded.rejects, decoded.remarks = decoder.rejects, decoder.remarks
    return decoded
