"""The user's own instrument put to the test between two points, as ISO 17123-2 does with levels.

Two sets of pairs of heights of the points A and B; between the sets the probes or staffs are exchanged. The form of the
test, its statistics and its limits are from memory of the standard (2001); the constants follow from the distributions.
"""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from logger.errors import WrongFile
from logger.reduction.distributions import chi_squared_quantile, fisher_quantile, student_quantile
from logger.written import number

CONFIDENCE = 0.95
SIGHT_M = 60.0
FULL_PAIRS = 20
LEAST_PAIRS = 3
COLUMNS = ("set", "a_m", "b_m")
SAME_M = 1e-9
"""Less than this is the rounding of differences in floating point, not scatter."""


@dataclass(frozen=True, slots=True)
class Question:
    """One of the standard's questions: what was found, the limits it must lie within (None: open), the answer."""

    text: str
    value: float
    low: float | None
    high: float | None
    passed: bool


@dataclass(frozen=True, slots=True)
class FieldTest:
    """Result: standard deviation of one difference, of a kilometre double run, and difference of the sets' means."""

    pairs: tuple[int, int]
    freedom: int
    sigma_m: float
    sigma_km_m: float
    zero_difference_m: float
    zero_difference_u_m: float
    questions: tuple[Question, ...]
    notes: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether every question was answered with yes."""
        return all(q.passed for q in self.questions)


def evaluate(
    first: Sequence[float], second: Sequence[float], *, stated_m: float | None = None, sight_m: float = SIGHT_M
) -> FieldTest:
    """Evaluate two sets of differences a - b, in metres; `stated_m` is the standard deviation claimed for one.

    ValueError where a set has fewer than three pairs.
    """
    if min(len(first), len(second)) < LEAST_PAIRS:
        raise ValueError(f"each set needs at least {LEAST_PAIRS} pairs; the standard asks for {FULL_PAIRS}")
    means = [math.fsum(s) / len(s) for s in (first, second)]
    squares = [math.fsum((d - m) ** 2 for d in s) for s, m in zip((first, second), means, strict=True)]
    freedoms = [len(first) - 1, len(second) - 1]
    freedom = sum(freedoms)
    sigma = math.sqrt(sum(squares) / freedom)
    zero, zero_u = means[0] - means[1], sigma * math.sqrt(1 / len(first) + 1 / len(second))
    questions = []
    if stated_m is not None:
        limit = stated_m * math.sqrt(chi_squared_quantile(CONFIDENCE, freedom) / freedom)
        text = "the standard deviation is within what is stated"
        questions.append(Question(text, sigma, None, limit, sigma <= limit))
    two_sided = (1 + CONFIDENCE) / 2
    scattered = [math.sqrt(s / f) > SAME_M for s, f in zip(squares, freedoms, strict=True)]
    if all(scattered):
        low, high = 1 / fisher_quantile(two_sided, *freedoms[::-1]), fisher_quantile(two_sided, *freedoms)
        ratio = (squares[0] / freedoms[0]) / (squares[1] / freedoms[1])
        text = "both sets scatter alike (ratio of variances)"
        questions.append(Question(text, ratio, low, high, low <= ratio <= high))
    most = student_quantile(two_sided, freedom) * zero_u
    text = "exchanging the ends changes nothing (difference of the means)"
    questions.append(Question(text, zero, -most, most, abs(zero) <= most + SAME_M))
    per_km = sigma / math.sqrt(2) * math.sqrt(1000.0 / sight_m)
    notes = _notes(min(len(first), len(second)), all(scattered))
    return FieldTest((len(first), len(second)), freedom, sigma, per_km, zero, zero_u, tuple(questions), notes)


def _notes(fewest: int, scattered: bool) -> tuple[str, ...]:
    """What is to be known of a test with so many pairs in its smaller set."""
    notes = ["form and limits of the test from memory of ISO 17123-2:2001"]
    if fewest < FULL_PAIRS:
        notes.append(f"fewer than the {FULL_PAIRS} pairs a set that the standard asks for")
    if not scattered:
        notes.append(
            "a set shows no scatter at all, the steps of the instrument hide it: the sets cannot be compared in it"
        )
    return tuple(notes)


def read_pairs(text: str, source: Path | str) -> tuple[list[float], list[float]]:
    """Differences a - b of the two sets from CSV with the columns set,a_m,b_m; WrongFile lists every mistake."""
    sets: tuple[list[float], list[float]] = ([], [])
    mistakes: list[str] = []
    header: list[str] = []
    reader = csv.reader(io.StringIO(text, newline=""))
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            if not header:
                header = cells
                if missing := [name for name in COLUMNS if name not in header]:
                    raise WrongFile(source, [f"line 1: no column {name}" for name in missing])
                continue
            named = dict(zip(header, cells, strict=False))
            a, b = number(named.get("a_m", "")), number(named.get("b_m", ""))
            if named.get("set") not in ("1", "2") or a is None or b is None:
                mistakes.append(f"line {reader.line_num}: write set 1 or 2, and two heights in metres")
            else:
                sets[int(named["set"]) - 1].append(a - b)
    except csv.Error as error:
        mistakes.append(f"line {reader.line_num}: {error}")
    if not header:
        mistakes.append("it is empty: a first line set,a_m,b_m is needed")
    elif not mistakes and min(map(len, sets)) < LEAST_PAIRS:
        mistakes.append(f"each set needs at least {LEAST_PAIRS} pairs; the standard asks for {FULL_PAIRS}")
    if mistakes:
        raise WrongFile(source, mistakes)
    return sets
