"""Raw bytes of the instrument as they are kept: packed (time, channel, bytes) batches of at most a second.

    +---------+----------------------------------------------------------------+ ...
    | 1 byte  | gap to the chunk before (us) | channel | length | the bytes    |
    | format  | varint, first from `from_us` | varint  | varint |              |
    +---------+----------------------------------------------------------------+ ...

A varint holds seven bits a byte, low bits first, the top bit set on all but the last byte.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

FORMAT = 1
LONGEST_VARINT = 9


@dataclass(frozen=True, slots=True)
class RawChunk:
    """Bytes as they arrived, at a session time in whole microseconds, from a named channel."""

    t_us: int
    data: bytes
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Batch:
    """Chunks packed for one event: the channel names, the times they span, the bytes."""

    channels: tuple[str, ...]
    from_us: int
    to_us: int
    packed: bytes


def pack(chunks: Sequence[RawChunk]) -> Batch:
    """Pack chunks in the order they arrived; times must not fall."""
    channels: dict[str, int] = {}
    out = bytearray([FORMAT])
    before = chunks[0].t_us
    for chunk in chunks:
        if chunk.t_us < before:
            raise ValueError("chunks must be in the order of their times")
        _put(out, chunk.t_us - before)
        _put(out, channels.setdefault(chunk.channel, len(channels)))
        _put(out, len(chunk.data))
        out += chunk.data
        before = chunk.t_us
    return Batch(tuple(channels), chunks[0].t_us, before, bytes(out))


def unpack(batch: Batch) -> Iterator[RawChunk]:
    """The chunks of a batch again; ValueError where the bytes are not such a batch."""
    packed = batch.packed
    if not packed or packed[0] != FORMAT:
        raise ValueError("not a batch of raw bytes")
    at, t_us = 1, batch.from_us
    while at < len(packed):
        gap, at = _get(packed, at)
        channel, at = _get(packed, at)
        length, at = _get(packed, at)
        if channel >= len(batch.channels) or at + length > len(packed):
            raise ValueError("a batch of raw bytes is cut short")
        t_us += gap
        yield RawChunk(t_us, packed[at : at + length], batch.channels[channel])
        at += length
    if t_us != batch.to_us:
        raise ValueError("a batch of raw bytes does not span the times it says")


def _put(out: bytearray, value: int) -> None:
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)


def _get(packed: bytes, at: int) -> tuple[int, int]:
    value = 0
    for place in range(LONGEST_VARINT):
        if at + place >= len(packed):
            break
        byte = packed[at + place]
        value |= (byte & 0x7F) << (7 * place)
        if byte < 0x80:
            return value, at + place + 1
    raise ValueError("a batch of raw bytes is cut short")
