"""Streams of Modbus RTU: whose registers are read, and which of them moves like a height."""

import math
import statistics
import struct
from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise

from drivers.decoders.modbus import crc_holds, register_value
from drivers.identify.proposal import Candidate

FEWEST = 3
ORDERS = ("ABCD", "CDAB", "BADC", "DCBA")
LARGEST = 1e5
LONGEST = 2e7
STILL, UNCLEAR = 0.35, 0.3
"""Confidence in a number that does not move, and in one that can be read in several ways."""
SMALLEST, FAINT = 1e-4, 1e-9
"""A float of the wrong order is mostly far smaller; a height at rest near zero may be faint now and then."""
Block = tuple[int, int, int, int]
"""Unit, function, first register and number of registers of one read."""


def frames_of(data: bytes) -> list[bytes]:
    """The whole Modbus frames of functions 3 and 4, questions and answers, in their order."""
    frames, at = [], 0
    while at + 5 <= len(data):
        size = 0
        if data[at + 1] in (3, 4) and 1 <= data[at] <= 247:
            for length in (8, data[at + 2] + 5):
                whole = length >= 7 and (length == 8 or data[at + 2] % 2 == 0) and at + length <= len(data)
                if whole and crc_holds(data[at : at + length]):
                    size = length
                    break
        elif data[at + 1] in (0x83, 0x84) and crc_holds(data[at : at + 5]):
            size = 5
        if size:
            frames.append(data[at : at + size])
        at += size or 1
    return frames


def blocks_of(data: bytes) -> dict[Block, list[bytes]]:
    """Register bytes by the read they answer; a first register of -1 where no question was heard."""
    asked: dict[int, tuple[int, int]] = {}
    found: dict[Block, list[bytes]] = defaultdict(list)
    for frame in frames_of(data):
        unit, function = frame[0], frame[1]
        answer = function in (3, 4) and frame[2] + 5 == len(frame)
        if answer and len(frame) == 8 and asked.get(unit, (0, 0))[1] != 1:
            answer = False
        if answer:
            first, count = asked.get(unit, (-1, frame[2] // 2))
            found[unit, function, first if 2 * count == frame[2] else -1, frame[2] // 2].append(frame[3:-2])
        elif len(frame) == 8:
            first, count = struct.unpack(">HH", frame[2:6])
            asked[unit] = (first, count)
    return found


def recognise_registers(data: bytes, *, polled: bool = False) -> list[Candidate]:
    """What Modbus answers in a stream may be, best first; empty if there are none."""
    found: list[Candidate] = []
    for (unit, function, first, count), answers in blocks_of(data).items():
        heard = f"{len(answers)} Modbus RTU answers of unit {unit}, function {function}, {count} registers"
        if len(answers) < FEWEST:
            continue
        guesses = _guesses(answers, count)
        if not guesses:
            found.append(Candidate(0.3, (heard, "none of the registers looks like a height")))
        for place, (offset, kind, order, score) in enumerate(guesses[:4]):
            address = max(first, 0) + offset
            largest = max(map(abs, _values(answers, offset, kind, order)))
            shown_in, scale = _guessed_unit(largest, kind)
            confidence = score if place == 0 else min(score, 0.3)
            reasons = [heard, f"{kind} {order} from register {address} reads like a height"]
            reasons.append(f"its unit is nowhere written; {shown_in} is a guess")
            if first < 0:
                reasons.append("no question was heard, so the register's address is not known")
            decoder = {"kind": "modbus", "unit": unit, "function": function, "address": address, "type": kind}
            if kind != "int16":
                decoder["order"] = order
            if scale != 1:
                decoder["scale"] = scale
            if not polled:
                decoder["listen"] = True
            tables = {
                "instrument": {"name": f"Heard on the port, Modbus RTU unit {unit}"},
                "decoder": decoder,
                "height": {"unit": shown_in},
            }
            found.append(Candidate(round(confidence, 2), tuple(reasons), tables))
    return found


def _guesses(answers: Sequence[bytes], count: int) -> list[tuple[int, str, str, float]]:
    """(register, type, order, confidence) of what may be a height, likeliest first."""
    found = [guess for offset in range(count - 1) for guess in _floats(answers, offset)]
    moving = [f for f in found if f[3] > STILL]
    taken = {o for offset, _, _, _ in moving or found for o in (offset, offset + 1)}
    for offset in range(count):
        if offset in taken:
            continue
        for order in ("ABCD", "CDAB") if offset + 1 < count and offset + 1 not in taken else ():
            if _is_long(answers, offset, order):
                found.append((offset, "int32", order, 0.35))
                taken |= {offset, offset + 1}
        if offset not in taken and _varies(_values(answers, offset, "int16", "ABCD")):
            found.append((offset, "int16", "ABCD", 0.35))
    return sorted(found, key=lambda f: -f[3])


def _floats(answers: Sequence[bytes], offset: int) -> list[tuple[int, str, str, float]]:
    """The word and byte orders in which two registers are a believable float; the one that moves before the rest."""
    by_order = {order: _values(answers, offset, "float32", order) for order in ORDERS}
    orders = [o for o, values in by_order.items() if all(map(_plausible, values)) and max(map(abs, values)) > SMALLEST]
    moving = [o for o in orders if _varies(by_order[o])]
    alone = moving if len(moving) == 1 else orders if len(orders) == 1 else []
    return [(offset, "float32", o, (0.45 if o in moving else STILL) if o in alone else UNCLEAR) for o in orders]


def _is_long(answers: Sequence[bytes], offset: int, order: str) -> bool:
    """Whether two registers move together as one whole number, and neither alone."""
    high = offset if order == "ABCD" else offset + 1
    signs = set(_values(answers, high, "int16", "ABCD"))
    values = _values(answers, offset, "int32", order)
    return len(signs) > 1 and max(map(abs, values)) < LONGEST and _varies(values)


def _values(answers: Sequence[bytes], offset: int, kind: str, order: str) -> list[float]:
    size = 2 if kind == "int16" else 4
    return [register_value(a[2 * offset : 2 * offset + size], kind, order) for a in answers]


def _guessed_unit(largest: float, kind: str) -> tuple[str, float]:
    """A unit, and what a number is multiplied with, by how large it is."""
    if kind == "float32":
        return ("m" if largest < 20 else "mm" if largest < 5000 else "Pa"), 1.0
    return "mm", next(scale for least, scale in ((2e6, 0.001), (2e4, 0.01), (0.0, 1.0)) if largest >= least)


def _plausible(value: float) -> bool:
    return value == 0 or (math.isfinite(value) and FAINT <= abs(value) <= LARGEST)


def _varies(values: Sequence[float]) -> bool:
    if len(set(values)) < 3:
        return False
    steps = [abs(b - a) for a, b in pairwise(values)]
    return statistics.median(steps) <= 0.5 * (max(values) - min(values))
