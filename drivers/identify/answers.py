"""Answers to SCPI questions: which of those on a line is the height, and in what unit."""

import statistics
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from drivers.decoders.scpi import INFINITY, VALUE, answers
from drivers.framing import LineFramer
from drivers.identify.proposal import Candidate
from drivers.identify.words import Role, unit_role
from drivers.units import unit_of

FEWEST = 3
FARTHEST_M = 50.0
"""A level that answers without a unit shows metres, and no more than these."""


def recognise_answers(data: bytes, query: str) -> list[Candidate]:
    """What the answers to a question may be, best first; empty where none of them is a number."""
    rows = [answers(line.decode("ascii", "replace")) for line in LineFramer().feed(data)]
    rows = [row for row in rows if rows and len(row) == len(rows[-1])]
    columns = [_column([row[at] for row in rows]) for at in range(len(rows[-1]))] if len(rows) >= FEWEST else []
    known = [(at, *column) for at, column in enumerate(columns) if column is not None]
    heights = [k for k in known if unit_role(k[2]) is Role.HEIGHT]
    bare = [k for k in known if not k[2] and max(map(abs, k[1])) < FARTHEST_M]
    warm = [at for at, _, unit in known if unit.upper() in ("C", "CEL")]
    found: list[Candidate] = []
    for at, values, unit in heights or sorted(bare, key=lambda k: -_movement(k[1])):
        doubt = len(heights or bare) > 1 and (heights or _movement(values) == 0)
        confidence = 0.45 if doubt or found else 0.9 if unit else 0.6
        why = f"unit {unit} is written" if unit else "no unit is written; lengths in SCPI are metres then"
        reasons = [f"{len(rows)} answers to {query}, such as {';'.join(rows[-1])[:60]}", why]
        if len(heights or bare) > 1:
            reasons.append("several answers could be the height")
        decoder: dict[str, Any] = {"kind": "scpi", "query": query} | ({"field": at} if at else {})
        if len(warm) == 1:
            decoder["temperature"] = warm[0]
        height = {"unit": unit if unit and unit_of(unit) else "m"}
        tables = {"instrument": {"name": "Heard on the port, SCPI"}, "decoder": decoder, "height": height}
        found.append(Candidate(confidence, tuple(reasons), tables))
    return found


def _column(texts: Sequence[str]) -> tuple[list[float], str] | None:
    """The numbers of one place on the line and their unit; None if they are none."""
    read = [VALUE.fullmatch(text) for text in texts]
    usable = [r for r in read if r is not None and abs(float(r[1])) < INFINITY]
    if len(usable) < FEWEST or 2 * len(usable) < len(texts):
        return None
    units = {r[2] or "" for r in usable}
    return ([float(r[1]) for r in usable], units.pop()) if len(units) == 1 else None


def _movement(values: Sequence[float]) -> float:
    """How far a number moves, where it moves as a height does and does not count."""
    steps = [b - a for a, b in pairwise(values)]
    span = max(values) - min(values)
    return 0.0 if span == 0 or statistics.pstdev(steps) < 1e-9 * span else span
