"""Patterns of instrument files: a person's regular expression, run so that it can never hang the decoder."""

import re
from collections.abc import Callable, Sequence
from typing import Any, Protocol, cast

import regex

GROUPS = ("height", "sign", "unit", "temperature", "battery", "stable")
LIMIT_S = 0.05
"""Time one line may take; a pattern that needs more is badly made."""
LONGEST_PATTERN = 1000
SHORT = 64
"""Characters of a line that a simple pattern may search without a clock: at worst 64**3 steps, some milliseconds."""
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


def simple(text: str) -> re.Pattern[str] | None:
    """The pattern for the standard engine, several times as fast and without a time limit; None unless it is harmless.

    Harmless is an anchored pattern with at most three unbounded repeats, none of them nested: no more than the cube of
    a short line's length in steps.
    """
    bare = re.sub(r"\\.|\[[^\]]*\]", lambda m: m[0] if re.match(r"\\[1-9]", m[0]) else "x", text)
    if not text.startswith("^") or "|" in re.sub(r"\([^()]*\)", "", bare) or NOT_SIMPLE.search(bare):
        return None
    if len(REPEATS.findall(bare)) > 3 or any(int(n) > 16 for n in re.findall(r"\{(?:\d*,)?(\d+)\}", bare)):
        return None
    try:
        return re.compile(text)
    except (re.error, RecursionError, OverflowError):
        return None


def compile_search(text: str) -> Search:
    """A function that searches one line for the pattern; TimeoutError if it takes too long."""
    pattern, plain = regex.compile(text), simple(text)

    def search(line: str) -> Found | None:
        if plain is not None and len(line) <= SHORT:
            short: Any = plain.search(line)
            return cast(Found | None, short)
        found: Found | None = pattern.search(line, timeout=LIMIT_S)
        return found

    return search
