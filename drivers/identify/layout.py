"""From lines of one shape to the pattern of an instrument file that reads them."""

import re
from collections.abc import Mapping, Sequence

from drivers.decoders.numbers import FEET, INCHES
from drivers.identify.fields import stable_words
from drivers.identify.tokens import Token
from drivers.identify.writing import Writing

Rows = Sequence[Sequence[Token]]


def pattern_of(rows: Rows, writing: Writing, groups: Mapping[int, str]) -> str:
    """A pattern from the start of the line to the last thing wanted from it; `groups` names what is at a place."""
    last = max(groups)
    parts = [_part(rows, i, writing, groups.get(i, "")) for i in range(last + 1)]
    anchor = "" if rows[0][0].kind == "gap" and all("\x02" in row[0].text for row in rows) else "^"
    kind = rows[0][last].kind
    point = r"[.,]?" if writing.comma else r"\.?"
    return anchor + "".join(parts) + (rf"(?!{point}\d)" if kind == "number" else "")


def flag_of(rows: Rows) -> int | None:
    """Where a word tells whether the instrument is at rest."""
    for i in reversed(range(len(rows[0]))):
        if rows[0][i].kind == "word" and stable_words([row[i].text for row in rows]):
            return i
    return None


def _part(rows: Rows, i: int, writing: Writing, group: str) -> str:
    kind, texts = rows[0][i].kind, [row[i].text for row in rows]
    match kind:
        case "gap":
            return _gap(rows, i, sign=group == "sign")
        case "stamp":
            return r"\d[\d:./T-]*" + (r"[\d:./TZAPM ,+-]*?" if re.search(r"[^\d:./T-]", "".join(texts)) else "")
        case "number":
            inner = _number(texts, writing)
        case "hex":
            return rf"(?:0[xX])?(?P<{group}>[0-9A-Fa-f]+)[hH]?" if group else r"(?:0[xX])?[0-9A-Fa-f]+[hH]?"
        case "length":
            inner = _length(texts)
        case _ if group == "unit":
            inner = "|".join(re.escape(t) for t in sorted(set(texts), key=lambda t: (-len(t), t)))
        case _:
            inner = r"[^\s\d,;]+" if group or len(set(texts)) > 1 else re.escape(texts[0])
    return f"(?P<{group}>{inner})" if group else inner


def _number(texts: Sequence[str], writing: Writing) -> str:
    """A number as it is written at one place: only what was seen is allowed for."""
    digits = r"\d*[.,]?\d+" if writing.comma else r"\d*\.?\d+"
    if writing.thousands:
        between = r"\s" if writing.thousands == " " else re.escape(writing.thousands)
        point = {",": r"\.", ".": ","}.get(writing.thousands, "[.,]")
        digits = rf"\d[\d{between}]*(?:{point}\d+)?"
    if any(re.search(r"\d[eE]", text) for text in texts):
        digits += r"(?:[eE][+-]?\d+)?"
    if any(text[-1] in "+-" for text in texts):
        return digits + r"\s?[+-]?"
    return r"[+−-]?\s*" + digits if any("−" in text for text in texts) else r"[+-]?\s*" + digits


def _length(texts: Sequence[str]) -> str:
    """Feet and inches, with fractions where some were seen."""
    whole = " ".join(texts)
    feet, inches = re.search(rf"\d\s*(?:{FEET})", whole, re.IGNORECASE), re.search(INCHES, whole, re.IGNORECASE)
    words = {w for text in texts for w in re.findall(r"[^\W\d_]+|''|['′’\"″”]", text)}
    marks = "|".join(re.escape(w) for w in sorted(words, key=lambda w: (-len(w), w)))
    number = r"\d+(?:[.,]\d+)?"
    foot = rf"(?:\d+\s*(?:{marks})[\s-]*)?" if feet and (inches or re.search(r"['\w]\s*-?\s*\d", whole)) else ""
    part = r"(?:[\s-]*\d+/\d+)?" if "/" in whole else ""
    rest = rf"(?:{number}(?![\d/]))?{part}" if foot or part else number
    return rf"[+−-]?\s*{foot}{rest}" + (rf"\s*(?:{marks})?" if marks else "")


def _gap(rows: Rows, i: int, *, sign: bool) -> str:
    texts = [row[i].text for row in rows]
    apart = 0 < i < len(rows[0]) - 1 and not texts[0].strip() and all(t for t in texts)
    if apart and not sign and rows[0][i - 1].kind == rows[0][i + 1].kind:
        return r"\s+"
    varies = len({"".join(t.split()) for t in texts}) > 1
    blank = r"\s*" if any(c.isspace() for t in texts for c in t) else ""
    made = r"\s*" if i == 0 and not texts[0].startswith("\x02") else blank
    for char in max(texts, key=lambda t: len("".join(t.split()))):
        if not char.isspace():
            made += _between(char, sign=sign, varies=varies) + blank
    padded = i + 1 < len(rows[0]) and rows[0][i + 1].is_number and not made.endswith(r"\s*")
    return made + r"\s*" if padded else made


def _between(char: str, *, sign: bool, varies: bool) -> str:
    """What stands for one character between tokens; where lines differ, signs and states may be missing."""
    if char in "+-−" and (sign or varies):
        return r"(?P<sign>[+−-]?)" if sign else "[+−-]?"
    return re.escape(char) + ("?" if varies and char.isupper() else "")
