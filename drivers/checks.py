"""Checks that lines and frames carry: exclusive or, sums, and two cyclic redundancy checks."""

from collections.abc import Callable
from functools import reduce
from operator import xor


def xor8(data: bytes) -> int:
    """Exclusive or of all bytes."""
    return reduce(xor, data, 0)


def sum8(data: bytes) -> int:
    """Sum of all bytes, lowest eight bits."""
    return sum(data) & 0xFF


def negated_sum8(data: bytes) -> int:
    """What makes the sum of all bytes and itself zero."""
    return -sum(data) & 0xFF


def _table(polynomial: int, *, reflected: bool) -> tuple[int, ...]:
    rows = []
    for byte in range(256):
        value = byte if reflected else byte << 8
        for _ in range(8):
            if reflected:
                value = (value >> 1) ^ (polynomial if value & 1 else 0)
            else:
                value = ((value << 1) ^ (polynomial if value & 0x8000 else 0)) & 0xFFFF
        rows.append(value)
    return tuple(rows)


MODBUS = _table(0xA001, reflected=True)
CCITT = _table(0x1021, reflected=False)


def crc16(data: bytes) -> int:
    """CRC-16 of Modbus: polynomial 8005 reflected, start FFFF; sent low byte first."""
    value = 0xFFFF
    for byte in data:
        value = (value >> 8) ^ MODBUS[(value ^ byte) & 0xFF]
    return value


def crc16_ccitt(data: bytes) -> int:
    """CRC-16 with polynomial 1021, start FFFF, not reflected; sent high byte first."""
    value = 0xFFFF
    for byte in data:
        value = ((value << 8) & 0xFFFF) ^ CCITT[(value >> 8) ^ byte]
    return value


CHECKS: dict[str, tuple[Callable[[bytes], int], int, bool]] = {
    "xor": (xor8, 1, False),
    "sum": (sum8, 1, False),
    "sum-negated": (negated_sum8, 1, False),
    "crc16": (crc16, 2, True),
    "crc16-ccitt": (crc16_ccitt, 2, False),
}
"""By the name in an instrument file: how it is computed, its bytes, and whether the low byte is sent first."""


def check_bytes(kind: str, data: bytes) -> bytes:
    """The check of these bytes as it is sent in binary."""
    compute, size, low_first = CHECKS[kind]
    return compute(data).to_bytes(size, "little" if low_first else "big")
