"""Text from outside made safe to show: control characters never reach the terminal, and nothing is endless."""

LONGEST = 200
UNPRINTABLE = "\N{MIDDLE DOT}"
CUT = "…"


def safe(text: object, longest: int = LONGEST) -> str:
    """The text on one line, at most `longest` characters, every control character as a middle dot."""
    words = str(text)[: 4 * longest]
    line = "".join(c if c.isprintable() else " " if c in "\t\n\r" else UNPRINTABLE for c in words)
    line = " ".join(line.split())
    return line if len(line) <= longest else line[: longest - 1] + CUT
