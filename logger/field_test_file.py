"""Pairs for the field test, from a session in which A and B were observed in turn, or from CSV."""

from collections.abc import Iterable
from pathlib import Path

from logger.errors import WrongFile
from logger.observation import Observation
from logger.profile_file import is_session
from logger.reduction.field_test import FULL_PAIRS, LEAST_PAIRS, read_pairs
from logger.written import read_text


def read_differences(path: Path | str) -> tuple[list[float], list[float]]:
    """Differences A - B of both sets; raises FileError and its kinds, WrongFile with every mistake."""
    if not is_session(path):
        return read_pairs(read_text(path), path)
    from logger.session.replay import survey

    sets = _sets(survey(path).observations)
    if len(sets) != 2 or min(map(len, sets)) < LEAST_PAIRS:
        told = " and ".join(str(len(s)) for s in sets) or "no"
        why = f"it holds {told} pairs of point A and point B; two setups of {FULL_PAIRS} pairs each are needed"
        raise WrongFile(path, [why])
    return sets[0], sets[1]


def _sets(observations: Iterable[Observation]) -> list[list[float]]:
    """Differences by setup: each A with the B observed next to it."""
    sets: dict[int, list[float]] = {}
    waiting: Observation | None = None
    for seen in observations:
        if seen.struck or seen.name not in ("A", "B"):
            continue
        if waiting is None or waiting.setup != seen.setup or waiting.name == seen.name:
            waiting = seen
            continue
        a, b = (waiting, seen) if waiting.name == "A" else (seen, waiting)
        sets.setdefault(seen.setup, []).append((a.height_m - a.rod_m) - (b.height_m - b.rod_m))
        waiting = None
    return list(sets.values())
