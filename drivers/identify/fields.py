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
MARKS = ("'", '"', "''", "′", "″", "’", "”")
"""Feet and inches, where they stand right behind the number; quotation marks elsewhere."""


@dataclass(frozen=True, slots=True)
class Field:
    """One number of each line.

    `at` is its place among the tokens, `sign_at` that of a gap that holds its sign, `unit_at` that of its unit.
    """

    at: int
    sign_at: int | None
    values: tuple[float, ...]
    texts: tuple[str, ...]
    role: Role
    unit_at: int | None
    unit: str
    label: str

    compound: bool = False
    """Whether it is feet and inches, or a fraction, in inches."""

    @property
    def decimals(self) -> int:
        """Digits behind the point or comma, of most lines; less the exponent, where one is written."""
        if self.compound:
            parts = [re.search(r"[.,](\d+)", text) for text in self.texts]
            return Counter(len(p[1]) if p is not None else 0 for p in parts).most_common(1)[0][0]
        found = (re.search(r"(?:[.,](\d*))?(?:[eE]([+-]?\d+))?[\s+-]*$", text) for text in self.texts)
        places = Counter(len(f[1] or "") - int(f[2] or 0) for f in found if f is not None)
        return places.most_common(1)[0][0] if places else 0

    @property
    def step(self) -> float:
        """The least step it can make, in its own unit."""
        if "/" not in "".join(self.texts):
            return 10.0**-self.decimals
        parts = [int(found[1]) for text in self.texts if (found := re.search(r"/(\d+)", text))]
        return 1 / max(parts)

    @property
    def span(self) -> float:
        """From the least to the greatest, outliers left out."""
        ordered = sorted(self.values)
        cut = len(ordered) // 20
        return ordered[-1 - cut] - ordered[cut]

    @property
    def moves(self) -> bool:
        """Whether it changes by more than its last digits do."""
        return self.span > 12 * self.step and len(set(self.values)) > 3

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
    places = [i for i, token in enumerate(rows[0]) if token.is_number]
    signs = _sign_gaps(rows)
    found = []
    for place, following, last in zip(places, [*places[1:], len(rows[0])], [-1, *places[:-1]], strict=True):
        texts = tuple(row[place].text.replace(row[place].thousands or "\0", "") for row in rows)
        mine = [g for g in signs if last < g < following and not any(t[0] in "+-−" or t[-1] in "+-" for t in texts)]
        sign_at = mine[0] if len(mine) == 1 else None
        values = tuple(-row[place].value if _minus(row, sign_at) else row[place].value for row in rows)
        if not any(map(math.isnan, values)):
            words = _words_of(rows[0], (last, place, following))
            meaning = _meaning(rows, place, words)
            found.append(Field(place, sign_at, values, texts, *meaning, compound=rows[0][place].kind == "length"))
    return found


def _sign_gaps(rows: Sequence[Sequence[Token]]) -> list[int]:
    """Gaps that hold a minus on some lines and not on others, or at the end, or in a column of its own."""
    gaps = [i for i, token in enumerate(rows[0]) if token.kind == "gap"]
    minus = {i: sum(_minus(row, i) for row in rows) for i in gaps}
    alone = re.compile(r"\s*[,;|\t]\s*[-−]\s*[,;|\t]\s*")
    return [i for i in gaps if minus[i] and (minus[i] < len(rows) or i == gaps[-1] or alone.fullmatch(rows[0][i].text))]


def _minus(row: Sequence[Token], gap: int | None) -> bool:
    return gap is not None and re.search(r"[-−]", row[gap].text) is not None


def _words_of(row: Sequence[Token], places: tuple[int, int, int]) -> tuple[list[int], list[int]]:
    """Places of the words before and behind a number, without those that belong to its neighbours."""
    last, place, following = places
    if _units_first(row):
        return [i for i in range(last + 1, place) if row[i].kind == "word"], []
    before = [i for i in range(last + 1, place) if row[i].kind == "word"]
    after = [i for i in range(place + 1, following) if row[i].kind == "word"]
    if following < len(row) and after and _labels_next(row, after[-1], following):
        after = after[:-2] if len(after) > 1 and _tied(row, after[-2], after[-1]) else after[:-1]
    if last >= 0 and before and unit_role(row[before[0]].text) is not Role.UNKNOWN and len(before) < 2:
        before = before if _labels_next(row, before[0], place) else []
    return before, after


def _units_first(row: Sequence[Token]) -> bool:
    """Whether units stand before their numbers throughout: `mm,516.4,C,18.5`."""
    kinds = [token.kind if not token.is_number else "number" for token in row if token.kind != "gap"]
    words = [token.text for token in row if token.kind == "word"]
    known = all(unit_role(w) is not Role.UNKNOWN and label_role(w) is Role.UNKNOWN for w in words)
    return len(words) > 1 and known and kinds == ["word", "number"] * len(words)


def _meaning(
    rows: Sequence[Sequence[Token]], place: int, words: tuple[list[int], list[int]]
) -> tuple[Role, int | None, str, str]:
    """Role, place of the unit, unit and label of a number, by the words around it."""
    before, after = words
    row = rows[0]
    role, unit_at, unit = Role.UNKNOWN, None, ""
    for i in after:
        roles = {unit_role(r[i].text) for r in rows}
        if row[i].text in MARKS and (i != place + 2 or row[i - 1].text.strip()):
            continue
        if roles != {Role.UNKNOWN} and len(roles) == 1:
            role, unit_at, unit = roles.pop(), i, Counter(r[i].text for r in rows).most_common(1)[0][0]
            break
    label = row[before[-1]].text if before else ""
    if unit_at is None and before and (_unit_before(row, before, label) or _units_first(row)):
        role, unit_at, unit = unit_role(label), before[-1], label
        label = row[before[-2]].text if len(before) > 1 else ""
    labelled = next((r for i in reversed(before) if (r := label_role(row[i].text)) is not Role.UNKNOWN), None)
    if _is_clock(row, place) or _is_tolerance(row, place) or _is_check(row, place):
        role = Role.OTHER
    elif row[place].kind == "length":
        role = labelled or Role.HEIGHT
    elif labelled is not None and role in (Role.UNKNOWN, Role.HEIGHT):
        named = len(label) > 1 or row[place - 1].text.strip()[-1:] in ("=", ":")
        role = labelled if role is Role.UNKNOWN or (labelled is Role.OTHER and named) else role
    return role, unit_at, unit, label


def _unit_before(row: Sequence[Token], before: Sequence[int], label: str) -> bool:
    """Whether the last word before a number is its unit: `height_mm=`, `height [mm]`, `mm 12.5`, never `m` alone."""
    at = before[-1]
    if unit_role(label) is not Role.HEIGHT:
        return False
    tied = len(before) > 1 and row[at - 1].text.strip().endswith(("_", "[", "(", "/"))
    quoted = row[at - 1].text.rstrip().endswith(("='", '="', "[", "("))
    return tied or quoted or (len(label) > 1 and label_role(label) is Role.UNKNOWN)


def _labels_next(row: Sequence[Token], word: int, number: int) -> bool:
    """Whether a word between two numbers belongs to the second: tied to it by a sign such as `=`."""
    between = "".join(token.text for token in row[word + 1 : number])
    return bool(re.search(r"[=:]", between)) or (
        label_role(row[word].text) is not Role.UNKNOWN and (unit_role(row[word].text) is Role.UNKNOWN)
    )


def _tied(row: Sequence[Token], one: int, other: int) -> bool:
    """Whether two words are parts of one name: `height_mm`."""
    return "".join(token.text for token in row[one + 1 : other]) == "_"


def _is_clock(row: Sequence[Token], place: int) -> bool:
    def two(at: int) -> bool:
        return 0 <= at < len(row) and row[at].kind == "number" and re.fullmatch(r"\d\d", row[at].text) is not None

    before, after = row[place - 1].text, row[place + 1].text
    return two(place) and ((before == ":" and two(place - 2)) or (after == ":" and two(place + 2)))


def _is_check(row: Sequence[Token], place: int) -> bool:
    """Whether a number is the check at the end of a line: `*5A`."""
    return row[place - 1].text.rstrip().endswith("*") and place >= len(row) - 2


def _is_tolerance(row: Sequence[Token], place: int) -> bool:
    """Whether a number says how far another may be wrong: `± 0.4`."""
    return row[place - 1].text.replace(" ", "").endswith(("±", "+/-", "+/", "+-"))


def same_quantity(one: Field, other: Field) -> bool:
    """Whether two fields show the same thing, perhaps in other units: their ratio stays."""
    ratios = [b / a for a, b in zip(one.values, other.values, strict=True) if abs(a) > 100 * one.step]
    if len(ratios) < 3 or not one.moves:
        return False
    middle = statistics.median(ratios)
    return middle > 0 and all(abs(r / middle - 1) < SAME_RATIO for r in ratios)


def stable_words(words: Sequence[str]) -> list[str] | None:
    """Which of the words of a place mean at rest; None if they are no such flag."""
    kinds = {w.casefold() for w in words}
    rest = sorted({w for w in words if w.casefold() in AT_REST})
    return rest if rest and kinds <= AT_REST | MOVING else None
