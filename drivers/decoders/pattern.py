"""Patterns of instrument files: a person's regular expression, run so that it can never hang the decoder."""

from collections.abc import Callable, Sequence
from typing import Protocol

import regex

GROUPS = ("height", "sign", "unit", "temperature", "battery", "stable")
LIMIT_S = 0.05
"""Time one line may take; a pattern that needs more is badly made."""
LONGEST_PATTERN = 1000


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


def compile_search(text: str) -> Search:
    """A function that searches one line for the pattern; TimeoutError if it takes too long."""
    pattern = regex.compile(text)

    def search(line: str) -> Found | None:
        found: Found | None = pattern.search(line, timeout=LIMIT_S)
        return found

    return search
