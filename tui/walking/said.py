"""Text from outside made safe to show: control characters never reach the terminal, and nothing is endless."""

import re
import textwrap

LONGEST = 200
HELD = "\N{NO-BREAK SPACE}"
INSIDE_A_NUMBER = re.compile(r"(?<=\d) (?=\d+/\d|%|(?:mm|m|ft|in|risers?|treads?|landings?)\b)")
UNPRINTABLE = "\N{MIDDLE DOT}"
CUT = "…"


def wrapped(text: str, width: int) -> list[str]:
    """The text in lines of at most a width, broken at no number: neither before its fraction nor before its unit."""
    kept = textwrap.wrap(INSIDE_A_NUMBER.sub(HELD, text), max(1, width)) or [""]
    return [line.replace(HELD, " ") for line in kept]


def safe(text: object, longest: int = LONGEST) -> str:
    """The text on one line, at most `longest` characters, every control character as a middle dot."""
    words = str(text)[: 4 * longest]
    line = "".join(c if c.isprintable() else " " if c in "\t\n\r" else UNPRINTABLE for c in words)
    line = " ".join(line.split())
    return line if len(line) <= longest else line[: longest - 1] + CUT
