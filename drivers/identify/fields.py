"""The numbers on lines of one shape: what each is, by its words and by how it moves."""

import math
import re
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.identify.tokens import Token
from drivers.identify.words import AT_REST, MOVING, Role, label_role, unit_role

SAME_RATIO = 0.02
MARKS = ("'", '"', "''")
"""Feet and inches, where they stand right behind the number; quotation marks elsewhere."""


@dataclass(frozen=True, slots=True)
class Field:
    """One number of each line: `at` its place among the tokens, `unit_at` that of the word that is its unit."""

    at: int
    values: tuple[float, ...]
    texts: tuple[str, ...]
    role: Role
    unit_at: int | None
    unit: str
    label: str

    @property
    def decimals(self) -> int:
        """Digits behind the point or comma, of most lines."""
        behind = (re.search(r"[.,](\d+)", text) for text in self.texts)
        return Counter(len(found[1]) if found else 0 for found in behind).most_common(1)[0][0]

    @property
    def span(self) -> float:
        """From the least to the greatest, outliers left out."""
        ordered = sorted(self.values)
        cut = len(ordered) // 20
        return ordered[-1 - cut] - ordered[cut]

    @property
    def moves(self) -> bool:
        """Whether it changes by more than its last digits do."""
        return self.span > 12 * 10.0**-self.decimals and len(set(self.values)) > 3

    @property
    def counts(self) -> bool:
        """Whether it goes up by the same whole step from line to line, as a counter or a clock does."""
        steps = [b - a for a, b in zip(self.values, self.values[1:], strict=False)]
        if len(steps) < 2:
            return False
        step, often = Counter(round(s, 6) for s in steps).most_common(1)[0]
        forward = [s for s in steps if s > 0]
        return step > 0 and often >= 0.8 * len(steps) and len(forward) >= 0.9 * len(steps)


def fields_of(rows: Sequence[Sequence[Token]]) -> list[Field]:
    """The numbers of lines of one shape."""
    places = [i for i, token in enumerate(rows[0]) if token.kind in ("number", "hex")]
    found = []
    for place, nextplace, last in zip(places, [*places[1:], len(rows[0])], [-1, *places[:-1]], strict=True):
        texts = tuple(row[place].text for row in rows)
        values = tuple(row[place].value for row in rows)
        if any(map(math.isnan, values)):
            continue
        found.append(_field(rows, (last, place, nextplace), values, texts))
    return found


def _field(
    rows: Sequence[Sequence[Token]], places: tuple[int, int, int], values: tuple[float, ...], texts: tuple[str, ...]
) -> Field:
    last, place, following = places
    before = [i for i in range(last + 1, place) if rows[0][i].kind == "word"]
    after = [i for i in range(place + 1, following) if rows[0][i].kind == "word"]
    if following < len(rows[0]) and after and _labels_next(rows[0], after[-1], following):
        after.pop()
    role, unit_at, unit = Role.UNKNOWN, None, ""
    for i in after:
        words = {row[i].text for row in rows}
        roles = {unit_role(w) for w in words}
        if rows[0][i].text in MARKS and (i != place + 2 or rows[0][i - 1].text.strip()):
            continue
        if roles != {Role.UNKNOWN} and len(roles) == 1:
            role, unit_at, unit = roles.pop(), i, Counter(row[i].text for row in rows).most_common(1)[0][0]
            break
    label = rows[0][before[-1]].text if before else ""
    if unit_at is None and before and _in_brackets(rows[0], before[-1]):
        role, unit_at, unit = unit_role(label), before[-1], label
        label = rows[0][before[-2]].text if len(before) > 1 else ""
    labelled = next((r for i in reversed(before) if (r := label_role(rows[0][i].text)) is not Role.UNKNOWN), None)
    if _is_clock(rows[0], place):
        role = Role.OTHER
    elif role in (Role.UNKNOWN, Role.HEIGHT) and labelled is not None:
        role = labelled if role is Role.UNKNOWN or labelled is Role.OTHER else role
    if unit_at is None and before and role is Role.UNKNOWN and unit_role(label) is Role.HEIGHT and len(label) > 1:
        role, unit_at, unit = Role.HEIGHT, before[-1], label
    return Field(place, values, texts, role, unit_at, unit if role is Role.HEIGHT else "", label)


def _labels_next(row: Sequence[Token], word: int, number: int) -> bool:
    """Whether a word between two numbers belongs to the second: tied to it by a sign such as `=`."""
    between = "".join(token.text for token in row[word + 1 : number])
    return bool(re.search(r"[=:]", between)) or (
        label_role(row[word].text) is not Role.UNKNOWN and (unit_role(row[word].text) is Role.UNKNOWN)
    )


def _in_brackets(row: Sequence[Token], word: int) -> bool:
    return row[word - 1].text.rstrip().endswith(("[", "(")) and row[word + 1].text.lstrip().startswith(("]", ")"))


def _is_clock(row: Sequence[Token], place: int) -> bool:
    before, after = row[place - 1].text if place else "", row[place + 1].text if place + 1 < len(row) else ""
    digits_before = place > 1 and row[place - 2].kind == "number"
    digits_after = place + 2 < len(row) and row[place + 2].kind == "number"
    return (before == ":" and digits_before) or (after == ":" and digits_after)


def same_quantity(one: Field, other: Field) -> bool:
    """Whether two fields show the same thing, perhaps in other units: their ratio stays."""
    ratios = [b / a for a, b in zip(one.values, other.values, strict=True) if abs(a) > 100 * 10.0**-one.decimals]
    if len(ratios) < 3 or not one.moves:
        return False
    middle = statistics.median(ratios)
    return middle > 0 and all(abs(r / middle - 1) < SAME_RATIO for r in ratios)


def stable_words(words: Sequence[str]) -> list[str] | None:
    """Which of the words of a place mean at rest; None if they are no such flag."""
    kinds = {w.casefold() for w in words}
    rest = sorted({w for w in words if w.casefold() in AT_REST})
    return rest if rest and kinds <= AT_REST | MOVING else None
