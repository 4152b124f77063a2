"""Inputs made from valid ones: bits, pieces and whole values changed, moved, doubled, taken out."""

import random
from collections.abc import Sequence

LARGEST = 4096
WORDS = r"""
\x00 \xff\xfe \r\n " ' \"\"\" , ; = [ ] [[ { } nan inf -inf 1e308 1e-320 -0 0 1/0 0x7fffffff true 3% 1:0 + - 1979-05-27
00:00:60 *00\r\n $ \xaa\x55 \x01\x03 (a+)+$ (?P<height> \\d{9999} \\u0000 \xf0\x9f\xa7\xb1 \x1b[2J a.b.c null {} -1 1e99
99999999999999999999 Infinity 1e400 [[1,2,3]] 10\x20km 1\x201/0\x20in 12\x20ft\x206\x20in
"""
TOKENS = [
    *(word.encode().decode("unicode_escape").encode("latin-1") for word in WORDS.split()),
    *(b"", b"[" * 900, b"9" * 400, b"1" * 5000, b"\n"),
]


def mutated(seeds: Sequence[bytes], chance: random.Random) -> bytes:
    """A valid input with a few changes, or plain noise."""
    if chance.random() < 0.1:
        return chance.randbytes(chance.randrange(200))
    data = bytearray(chance.choice(seeds))
    for _ in range(1 + int(chance.expovariate(0.5))):
        at = chance.randrange(len(data) + 1)
        match chance.randrange(7):
            case 0:
                data[at : at + 1] = bytes([chance.randrange(256)])
            case 1:
                del data[at : at + chance.randrange(1, 30)]
            case 2:
                data[at : at + chance.choice((0, 0, 1, 4))] = chance.choice(TOKENS)
            case 3:
                data[at:at] = data[at : at + chance.randrange(1, 60)]
            case 4:
                other = chance.choice(seeds)
                data[at:] = other[chance.randrange(len(other) + 1) :]
            case 5:
                _value(data, at, chance)
            case _:
                if at < len(data):
                    data[at] ^= 1 << chance.randrange(8)
    return bytes(data[: 4 * LARGEST])


def _value(data: bytearray, at: int, chance: random.Random) -> None:
    """Replace what stands between two signs (a value, a cell, a key) by something of the list."""
    signs = b',="\n: '
    begin = max(data.rfind(sign, 0, at) for sign in signs) + 1
    ends = [e for sign in signs if (e := data.find(sign, at)) >= 0]
    data[begin : min(ends, default=len(data))] = chance.choice(TOKENS)
