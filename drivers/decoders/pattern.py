"""Patterns of instrument files: a person's regular expression, run so that it can never hang the decoder."""

import re
from collections.abc import Callable, Sequence
from typing import Any, Protocol, cast

import regex

GROUPS = ("height", "sign", "unit", "temperature", "battery", "stable")
LIMIT_S = 0.05
"""Time one line may take; a pattern that needs more is badly made."""
LONGEST_PATTERN = 1000
SHORT = (64, 64, 64, 64, 30, 19, 14)
"""Characters of a line that a simple pattern may search without a clock, by its unbounded repeats.

The ends of k repeats in n characters can lie in C(n + k, k) ways at most: here fewer than 50,000, some milliseconds.
"""
REPEATS = re.compile(r"[*+]|\{\d*,\}")
NOT_SIMPLE = re.compile(r"\)[*+{]|\)\?[*+?]|\\[1-9]|\(\?(?!P<|:)|[*+}][*+]|\(\?P=")
"""Repeated groups, back references, look-around and flags: what can cost more than its repeats let one think."""


class Found(Protocol):
    """What a match offers, of whichever engine."""

    def __getitem__(self, group: str, /) -> str | None: ...
    def group(self, *groups: str) -> str | Sequence[str | None] | None:
        """The text of groups."""


Search = Callable[[str], Found | None]


def check_pattern(text: str) -> None:
    """Raise ValueError, with what to do, if the pattern cannot be used."""
    if len(text) > LONGEST_PATTERN:
        raise ValueError(f"the pattern is longer than {LONGEST_PATTERN} characters")
    try:
        compiled = regex.compile(text)
    except (regex.error, RecursionError, OverflowError) as error:
        raise ValueError(f"the pattern is no regular expression: {error}") from None
    if "height" not in compiled.groupindex:
        raise ValueError("the pattern has no group named height; write (?P<height>…) around the number")
    if unknown := set(compiled.groupindex) - set(GROUPS):
        raise ValueError(f"the pattern has groups nobody reads: {', '.join(sorted(unknown))}")


def groups_of(text: str) -> tuple[str, ...]:
    """The named groups of a pattern, in the order of GROUPS."""
    named = regex.compile(text).groupindex
    return tuple(name for name in GROUPS if name in named)


def _bare(text: str) -> str:
    """The pattern with each character and class as one x."""
    return re.sub(r"\\.|\[[^\]]*\]", lambda m: m[0] if re.match(r"\\[1-9]", m[0]) else "x", text)


def longest_of(text: str) -> int:
    """How long a line a simple pattern may search without a clock."""
    return SHORT[len(REPEATS.findall(_bare(text)))]


def simple(text: str) -> re.Pattern[str] | None:
    """The pattern for the standard engine, several times as fast and without a time limit; None unless it is harmless.

    Harmless is, on lines no longer than SHORT says, an anchored pattern with few unbounded repeats, none nested.
    """
    bare = _bare(text)
    if not text.startswith("^") or "|" in re.sub(r"\([^()]*\)", "", bare) or NOT_SIMPLE.search(bare):
        return None
    if len(REPEATS.findall(bare)) >= len(SHORT) or any(int(n) > 16 for n in re.findall(r"\{(?:\d*,)?(\d+)\}", bare)):
        return None
    try:
        return re.compile(text)
    except (re.error, RecursionError, OverflowError):
        return None


def digit_blind(text: str) -> bool:
    """Whether a simple pattern takes every digit for any other, so that lines of one shape match at the same places."""
    return not re.search(r"\d", re.sub(r"\\d|0-9|\{\d*,?\d*\}|\(\?P<\w+>", "", text))


TOKEN = re.compile(r"\\(.)|(\[\^?)|(\])|(.)", re.DOTALL)


def of_chunk(text: str) -> re.Pattern[str] | None:
    """A simple pattern as one that finds the same in every line of a chunk at once; None where that is not certain.

    The lines are joined by line feeds, which nothing in the pattern may match, so that no match leaves its line.
    """
    if simple(text) is None or "[]" in text or "[^]" in text:
        return None
    parts, inside = list[str](), False
    for escaped, opens, closes, other in (m.groups() for m in TOKEN.finditer(text)):
        if escaped is not None:
            if escaped.isalnum() and escaped not in ("dwS" if inside else "dwsS"):
                return None
            parts.append(r"[^\S\n]" if escaped == "s" else "\\" + escaped)
        elif opens and not inside:
            inside = True
            parts.append(r"[^\n" if opens == "[^" else "[")
        elif closes:
            inside = False
            parts.append("]")
        elif opens or (other in "^\n\r" and (inside or parts)):
            return None
        else:
            parts.append(other)
    if parts[1:2] and parts[1] in "?*+{":
        return None
    try:
        return re.compile("".join(parts), re.MULTILINE)
    except (re.error, RecursionError, OverflowError):
        return None


def compile_search(text: str) -> Search:
    """A function that searches one line for the pattern; TimeoutError if it takes too long."""
    pattern, plain = regex.compile(text), simple(text)
    longest = 0 if plain is None else longest_of(text)

    def search(line: str) -> Found | None:
        if plain is not None and len(line) <= longest:
            short: Any = plain.search(line)
            return cast(Found | None, short)
        found: Found | None = pattern.search(line, timeout=LIMIT_S)
        return found

    return search
