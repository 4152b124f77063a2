"""Streams of binary frames: their length by repetition, their check by trying, the field that moves like a height."""

import math
import statistics
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from drivers.checks import CHECKS, check_bytes
from drivers.decoders.frames import field_value
from drivers.identify.proposal import Candidate
from drivers.tables import CHECK_BYTES, FrameField

LENGTHS = range(4, 65)
FEWEST = 6
LOOKED_AT = 4096
TYPES = ("int32", "int24", "int16", "float32")


def recognise_frames(data: bytes) -> list[Candidate]:
    """What frames of fixed length in a stream may be; empty where none repeats with a check that holds."""
    data = data[-LOOKED_AT:]
    for length in LENGTHS:
        if len(data) < FEWEST * length:
            break
        for start in range(length):
            frames = [data[at : at + length] for at in range(start, len(data) - length + 1, length)]
            fixed = _fixed(frames)
            if fixed < 2:
                continue
            checked = _check(frames)
            if checked is not None:
                return _candidates(frames, fixed, *checked)
    return []


def _fixed(frames: Sequence[bytes]) -> int:
    """How many first bytes are the same in all frames."""
    first, same = frames[0], 0
    while same < min(4, len(first)) and all(f[same] == first[same] for f in frames):
        same += 1
    return same


def _check(frames: Sequence[bytes]) -> tuple[str, int] | None:
    if len(set(frames)) < 3:
        return None
    for kind in CHECKS:
        size = CHECK_BYTES[kind]
        for begin in range(3):
            if all(check_bytes(kind, f[begin:-size]) == f[-size:] for f in frames):
                return kind, begin
    return None


def _candidates(frames: Sequence[bytes], fixed: int, kind: str, begin: int) -> list[Candidate]:
    length, end = len(frames[0]), len(frames[0]) - CHECK_BYTES[kind]
    sync = frames[0][: min(fixed, 2)]
    heard = f"{len(frames)} frames of {length} bytes that begin with {sync.hex(' ')}, check {kind} right in all"
    found: list[Candidate] = []
    for at, name, order, _ in _movers(frames, len(sync), end)[:4]:
        reasons = (heard, f"{name} at byte {at} moves like a height", "its unit and scale are nowhere written")
        decoder: dict[str, Any] = {
            "kind": "frames",
            "sync": sync.hex(" "),
            "length": length,
            "check": kind,
            "height": {"at": at, "type": name, "order": order},
        }
        if begin:
            decoder["check_from"] = begin
        unit = "m" if name == "float32" else "mm"
        tables = {"instrument": {"name": "Heard on the port, frames"}, "decoder": decoder, "height": {"unit": unit}}
        found.append(Candidate(0.35 if not found else 0.2, reasons, tables))
    return found or [Candidate(0.2, (heard, "no field moves like a height"))]


def _movers(frames: Sequence[bytes], first: int, end: int) -> list[tuple[int, str, str, float]]:
    found: list[tuple[int, str, str, float]] = []
    covered: set[int] = set()
    for name in TYPES:
        for order in ("big", "little"):
            for at in range(first, end):
                field = FrameField.model_validate({"at": at, "type": name, "order": order})
                if at + field.size > end or covered & set(range(at, at + field.size)):
                    continue
                values = [field_value(f, field) for f in frames]
                if _like_a_height(values, bounded=name != "int16"):
                    found.append((at, name, order, max(values) - min(values)))
                    covered |= set(range(at, at + field.size))
    return sorted(found, key=lambda f: -f[3])


def _like_a_height(values: Sequence[float], *, bounded: bool) -> bool:
    if not all(math.isfinite(v) and abs(v) < 5e6 for v in values) or len(set(values)) < 3:
        return False
    span = max(values) - min(values)
    steps = [abs(b - a) for a, b in pairwise(values)]
    small = not bounded or all(v == 0 or abs(v) > 1e-4 for v in values)
    return small and statistics.median(steps) <= 0.3 * span
