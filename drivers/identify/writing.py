"""How numbers are written on lines: what a comma or point between digits means, feet and inches, hexadecimal."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from drivers.decoders.numbers import FEET, INCHES
from drivers.units import LENGTHS

STAMP = re.compile(
    r"""(?<![\d.,])(?:
        (?:\d{4}[-/.]\d\d?[-/.]\d\d?|\d\d?[-/.]\d\d?[-/.](?:\d{4}|\d\d(?![.,\d])))
        (?:[T ,;]{1,2}\d\d?:\d\d(?::\d\d(?:[.,]\d{1,9})?)?)?
        |\d\d?:\d\d:\d\d(?:[.,]\d{1,9})?
        |\d\d:\d\d(?=\s)
    )(?:Z|\s?[AP]M\b|[+-]\d\d:?\d\d(?!\d|[.,]\d))?""",
    re.VERBOSE,
)
"""Dates and times of day."""
PART = r"\d+/(?:2|4|8|16|32|64)(?!\d)"
COMPOUND = re.compile(
    rf"(?<![\d.,])(?:\d+\s*(?:{FEET})(?:\s*-\s*|\s*)\d\d?(?:[.,]\d+)?(?![\d/.,])(?:[\s-]+{PART})?\s*(?:{INCHES})?"
    rf"|(?:\d+\s*(?:{FEET})[\s-]*)?(?:\d+[\s-]+)?{PART}\s*(?:{INCHES}))",
    re.IGNORECASE,
)
"""What only feet and inches in one height, or a fraction of an inch, look like."""
LENGTH = re.compile(rf"[+−-]?\s*(?:{COMPOUND.pattern}|\d+(?:[.,]\d+)?\s*(?:{INCHES}|{FEET}))", re.IGNORECASE)
"""The same where one of its parts may be missing, as it is at whole inches."""
HEX = re.compile(r"(?:0[xX])?[0-9A-Fa-f]{2,8}[hH]?")
BREAK = re.compile(r"[\s,;:=|<>()\[\]{}*]+")
GROUPS = re.compile(
    r"(?<![\d.,'])(\d{1,3})(?:(?P<sep>[,.' \u00a0\u202f])(\d{3}))(?:(?P=sep)\d{3})*(?!\d)(?:[.,](\d+))?"
)


@dataclass(frozen=True, slots=True)
class Writing:
    """How the numbers of a stream are written.

    `comma` is whether a comma may be a decimal one, `thousands` what stands between thousands, `doubt` why that is
    not certain, `feet` whether feet and inches or fractions stand in one height.
    """

    comma: bool = False
    thousands: str = ""
    doubt: str = ""
    feet: bool = False

    @property
    def digits(self) -> str:
        """A pattern for the digits of a number."""
        if self.thousands:
            point, sep = ("," if self.thousands != "," else "."), re.escape(self.thousands).replace("\\ ", " ")
            point = "[.,]" if self.thousands in " '" else re.escape(point)
            return rf"(?:\d{{1,3}}(?:[{sep}]\d{{3}})+|\d+)(?:{point}\d+)?"
        return r"(?:\d+(?:[.,]\d+)?|[.,]\d+)" if self.comma else r"(?:\d+(?:\.\d*)?|\.\d+)"


def writing_of(lines: Sequence[str]) -> Writing:
    """How the numbers of these lines are written."""
    plain = [STAMP.sub(" ", line) for line in lines]
    feet = sum(bool(COMPOUND.search(line)) for line in plain) >= max(2, len(plain) // 8)
    if feet:
        return Writing(comma=any(re.search(r"\d,\d", line) for line in plain), feet=True)
    grouped = _grouped(plain)
    return grouped if grouped is not None else _comma_of(plain)


def _grouped(lines: Sequence[str]) -> Writing | None:
    """Thousands, where a group of digits cannot well be anything else."""
    found = [m for line in lines if (m := GROUPS.search(line)) is not None]
    if not found or any(m[1].startswith("0") for m in found):
        return None
    sep, often = Counter(m["sep"] for m in found).most_common(1)[0]
    if often < len(found) or (sep in ",." and any(re.search(rf"\d[{sep}]\d{{1,2}}(?!\d)", line) for line in lines)):
        return None
    heads = [int(m[1]) for m in found]
    if _counts(heads) or any(re.search(rf"(?<![\d.,])\d{{1,3}}{re.escape(sep)}\d\d?(?!\d)", line) for line in lines):
        return None
    mixed = sum(m[4] is not None for m in found) > len(found) // 2
    fewer = sum(bool(re.search(r"(?<![\d.,'])\d{1,3}(?![\d'])", GROUPS.sub(" ", line))) for line in lines)
    wraps = len(found) < len(lines) and fewer >= 0.9 * (len(lines) - len(found))
    alone = sep == "," and not any("," in GROUPS.sub("", line) for line in lines)
    certain = wraps or len(set(heads)) > 1 or sep == "'" or (mixed and (sep == "." or alone))
    if sep in ",." and not mixed and not wraps and not _whole_millimetres(lines):
        return None
    if sep.isspace() and not (wraps or mixed):
        return None
    doubt = "" if certain else f"{found[0][0]} may be one number or two"
    return Writing(comma=sep != ",", thousands=" " if sep.isspace() else sep, doubt=doubt)


def _whole_millimetres(lines: Sequence[str]) -> bool:
    """Whether the numbers are in millimetres, which are seldom told in thousandths."""
    behind = [re.match(r"[\s,;|]*([^\W\d_]+)", line[m.end() :]) for line in lines if (m := GROUPS.search(line))]
    return all(word is not None and LENGTHS.get(word[1].casefold()) == LENGTHS["mm"] for word in behind)


def _counts(numbers: Sequence[int]) -> bool:
    """Whether numbers go on by one step, as a counter of lines does."""
    steps = Counter(b - a for a, b in pairwise(numbers)).most_common(1)
    return len(numbers) > 3 and steps[0][0] != 0 and steps[0][1] > 0.7 * len(numbers)


def _comma_of(lines: Sequence[str]) -> Writing:
    """Whether a comma between digits is a decimal one, or stands between numbers."""
    chains = [re.findall(r"\d+(?:,\d+)+", line) for line in lines]
    if not any(chains):
        return Writing()
    pointed = sum(bool(re.search(r"\d\.\d", line)) for line in lines)
    if pointed > len(lines) // 2:
        return Writing()
    if any(re.search(r"\d,\s+[+-]?\d|,[+-]\d", line) for line in lines):
        return Writing(doubt="a comma may be a decimal comma or part two numbers")
    longest = max(chain.count(",") for row in chains for chain in row)
    places = {len(chain.partition(",")[2]) for row in chains for chain in row}
    firsts = [int(row[0].partition(",")[0]) for row in chains if row]
    if _counts(firsts):
        return Writing(doubt="" if longest == 1 else "commas may be decimal commas or part numbers")
    apart = max(map(len, chains)) > 1 or any(re.search(r"[;\t|]", line) for line in lines)
    if longest == 1:
        doubt = "" if len(places) == 1 or apart else "a comma may be a decimal comma or part two numbers"
        return Writing(comma=True, doubt=doubt)
    return Writing(doubt="a comma may be a decimal comma or part two numbers")


def hex_columns_of(lines: Sequence[str]) -> frozenset[int]:
    """Columns whose every entry is hexadecimal of one width, with letters in some."""
    rows = [BREAK.split(STAMP.sub(_blank, line)) for line in lines]
    width = Counter(map(len, rows)).most_common(1)[0][0] if rows else 0
    rows = [row for row in rows if len(row) == width]
    return frozenset(c for c in range(width) if _is_hex([row[c] for row in rows]))


def _is_hex(entries: Sequence[str]) -> bool:
    if len(entries) < 3 or len({len(e) for e in entries}) != 1 or len(entries[0]) < 2:
        return False
    if not all(HEX.fullmatch(e) for e in entries) or all(re.fullmatch(r"\d+[eE]\d+", e) for e in entries):
        return False
    if all(e.lower().startswith("0x") for e in entries):
        return True
    lettered = [e for e in entries if re.search(r"[A-Fa-f]", e)]
    tails = {re.sub(r"\d", "", e) for e in lettered}
    digits = sum(bool(re.search(r"\d", e)) for e in entries)
    return len(lettered) >= 2 and 5 * len(lettered) >= len(entries) and digits >= len(entries) // 2 and len(tails) > 1


def hex_spans(line: str, columns: frozenset[int]) -> dict[int, int]:
    """Where the hexadecimal columns of a line stand: begin to end."""
    spans, at = {}, 0
    for index, piece in enumerate(BREAK.split(STAMP.sub(_blank, line))):
        start = line.find(piece, at)
        at = start + len(piece)
        if index in columns and piece:
            spans[start] = at
    return spans


def _blank(stamp: re.Match[str]) -> str:
    return re.sub(r"[\s,;:]", "_", stamp[0])
