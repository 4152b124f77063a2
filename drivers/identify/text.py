"""Streams of text lines: which number is the height, in what unit, and the instrument file that reads it."""

import re
from collections import Counter
from collections.abc import Sequence

from drivers.identify.fields import Field, fields_of, same_quantity
from drivers.identify.judgement import Lines
from drivers.identify.proposal import Candidate
from drivers.identify.tokens import Token, of_one_shape, tells_height
from drivers.identify.words import Role, label_role, unit_role
from drivers.identify.writing import writing_of

MOST_LINES = 400
LONGEST = 300
"""Bytes of a line; what is longer is no line of an instrument."""
ENOUGH = 0.8
LAST_COLUMN = re.compile(r"[\s,;*~|]+[0-9A-Za-z]+\s*$")
"""What may be a check or a state of changing shape: without it the lines may be alike."""
FEW = 3
OTHER_ENDS = (b"\x03", b"\x00", b"\x02", b";", b"=", b"#", b"$", b"!", b"@", b"|", b" ", b",", b"\t")
PRINTABLE = 0.9
BROKEN = "\ufffd"
HARMLESS = b"\r\n\t\x02\x03\x0c"
"""Controls that text is framed with."""


def printable_share(data: bytes) -> float:
    """How much of some bytes could be text."""
    text = sum(32 <= b < 127 or b in HARMLESS for b in data)
    ends = data.count(0)
    if 0 < 4 * ends < len(data) and re.search(rb"\d[^\0]{0,80}\0+[^\0]{0,80}\d", data):
        text += ends
    wide = [c for c in data.decode(errors="replace") if ord(c) > 127]
    if wide.count(BROKEN) <= 2:
        high = sum(len(c.encode()) for c in wide if c.isprintable() or c in "\u00a0\u202f")
    else:
        high = sum(b in (0xB0, 0xB1, 0xB5, 0xB2, 0xB3) or b >= 0xC0 for b in data) if text > 0.8 * len(data) else 0
    return (text + high) / len(data) if data else 0.0


def lines_of(data: bytes) -> tuple[list[str], str]:
    """The whole lines of a stream and what ends them (empty for CR, LF, CRLF); the cut ends are left out."""
    framed = data.count(b"\x03")
    if framed < FEW or framed < data.count(b"\x02") - 1 or framed < len(re.findall(rb"[\r\n]+", data)) - 1:
        framed = 0
    if re.search(rb"[\r\n]", data) and not (framed and re.search(rb"\x03[^\r\n\x02]", data)):
        return _texts(re.split(rb"[\r\n]+", data)), ""
    for end in OTHER_ENDS:
        pieces = data.split(end)
        whole = [p for p in pieces[1:-1] if p]
        if len(whole) >= FEW and all(re.search(rb"\d", p) for p in whole) and max(map(len, whole)) < 200:
            return _texts(pieces), end.decode()
    return [], ""


def _texts(pieces: Sequence[bytes]) -> list[str]:
    inner = pieces[1:-1]
    if pieces and inner and len(pieces[0]) == len(inner[0]):
        inner = pieces[:-1]
    kept = [p for p in inner if 0 < len(p) <= LONGEST][-MOST_LINES:]
    if kept and all(b"\x02" in p for p in kept):
        kept = [p[p.rindex(b"\x02") :] for p in kept]
    return [_decoded(p) for p in kept]


def _decoded(piece: bytes) -> str:
    try:
        return piece.decode()
    except UnicodeDecodeError:
        return piece.decode("latin-1")


def recognise_text(data: bytes) -> list[Candidate]:
    """What a stream of text may be, best first; empty if it is no text."""
    if printable_share(data) < PRINTABLE:
        return []
    lines, end = lines_of(data)
    if not lines:
        return []
    writing = writing_of(lines)
    rows, others = of_one_shape(lines, writing)
    if len(rows) < ENOUGH * len(lines):
        shorter = [LAST_COLUMN.sub("", line) for line in lines]
        fewer, left = of_one_shape(shorter, writing)
        if len(fewer) >= ENOUGH * len(lines) and tells_height(fewer[0]) >= tells_height(rows[0]):
            rows, others = fewer, left
    if not rows:
        return []
    rows, _ = _one_kind(rows)
    heights, doubts = _heights(fields_of(rows))
    if writing.doubt:
        doubts = [*doubts, writing.doubt]
    context = Lines(rows, fields_of(rows), writing, end, others)
    return [context.candidate(field, doubts) for field in heights[:4]]


def _one_kind(rows: list[list[Token]]) -> tuple[list[list[Token]], int]:
    """Of lines that take turns (`H 1.23`, `T 21.5`) those with the height, and how many others there are."""
    for i, token in enumerate(rows[0]):
        if token.kind != "word":
            continue
        words = Counter(row[i].text for row in rows)
        if not 2 <= len(words) <= 8:
            continue
        roles = {w: _word_role(w) for w in words}
        mine = [w for w, role in roles.items() if role is Role.HEIGHT]
        others = [w for w, role in roles.items() if role in (Role.TEMPERATURE, Role.BATTERY, Role.OTHER)]
        if mine and others and len(mine) + len(others) == len(words):
            kept = [row for row in rows if row[i].text in mine]
            return kept, len(rows) - len(kept)
    return rows, 0


def _word_role(word: str) -> Role:
    role = unit_role(word)
    return role if role is not Role.UNKNOWN else label_role(word)


def _heights(fields: Sequence[Field]) -> tuple[list[Field], list[str]]:
    """The fields that may be the height, likeliest first, and what is doubtful about that."""
    known = [f for f in fields if f.role is Role.HEIGHT]
    named = [f for f in known if f.unit or label_role(f.label) is Role.HEIGHT or f.compound]
    if len(named) == 1:
        return named, []
    if len(named) > 1:
        labelled = [f for f in named if label_role(f.label) is Role.HEIGHT]
        if len(labelled) == 1:
            return [*labelled, *(f for f in named if f is not labelled[0])], []
        if all(same_quantity(named[0], other) for other in named[1:]):
            return named, []
        movers = [f for f in named if f.moves]
        doubt = "several numbers could be the height"
        return sorted(named, key=lambda f: (f not in movers, -f.span)), [doubt]
    unknown = [f for f in fields if f.role is Role.UNKNOWN and not (f.counts and len(fields) > 1)]
    if not unknown and (lengths := [f for f in fields if f.unit and unit_role(f.unit) is Role.HEIGHT]):
        return lengths, [f"{lengths[0].label} says that it is something else"]
    if len(unknown) <= 1:
        return (unknown or [f for f in fields if f.role is Role.UNKNOWN][:1]), []
    return _among(unknown)


def _among(unknown: Sequence[Field]) -> tuple[list[Field], list[str]]:
    """Which of several numbers without a word moves like a height."""
    changing = [f for f in unknown if len(set(f.values)) > 1] or list(unknown)
    if len(changing) == 1:
        return changing, []
    movers = [f for f in changing if f.moves]
    if len(movers) == 1:
        return [movers[0], *(f for f in changing if f is not movers[0])], ["the one number that moves is taken"]
    if all(same_quantity(changing[0], other) for other in changing[1:]):
        return changing, ["several numbers move together"]
    return changing, ["several numbers could be the height; raise and lower the probe while listening"]
