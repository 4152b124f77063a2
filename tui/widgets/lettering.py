"""Words large enough to be read at arm's length, in our own block letters."""

from tui.widgets.glyphs import Bitmap, blocks

HIGH = 7
LETTERS = {
    "A": (" ## ", "#  #", "#  #", "####", "#  #", "#  #", "#  #"),
    "B": ("### ", "#  #", "#  #", "### ", "#  #", "#  #", "### "),
    "C": (" ## ", "#  #", "#   ", "#   ", "#   ", "#  #", " ## "),
    "D": ("### ", "#  #", "#  #", "#  #", "#  #", "#  #", "### "),
    "E": ("####", "#   ", "#   ", "### ", "#   ", "#   ", "####"),
    "F": ("####", "#   ", "#   ", "### ", "#   ", "#   ", "#   "),
    "G": (" ## ", "#  #", "#   ", "# ##", "#  #", "#  #", " ## "),
    "H": ("#  #", "#  #", "#  #", "####", "#  #", "#  #", "#  #"),
    "I": ("#", "#", "#", "#", "#", "#", "#"),
    "K": ("#  #", "#  #", "# # ", "##  ", "# # ", "#  #", "#  #"),
    "L": ("#   ", "#   ", "#   ", "#   ", "#   ", "#   ", "####"),
    "N": ("#  #", "## #", "## #", "# ##", "# ##", "#  #", "#  #"),
    "O": (" ## ", "#  #", "#  #", "#  #", "#  #", "#  #", " ## "),
    "P": ("### ", "#  #", "#  #", "### ", "#   ", "#   ", "#   "),
    "R": ("### ", "#  #", "#  #", "### ", "# # ", "#  #", "#  #"),
    "S": (" ###", "#   ", "#   ", " ## ", "   #", "   #", "### "),
    "T": ("###", " # ", " # ", " # ", " # ", " # ", " # "),
    "U": ("#  #", "#  #", "#  #", "#  #", "#  #", "#  #", " ## "),
    "W": ("#   #", "#   #", "#   #", "# # #", "# # #", "## ##", "#   #"),
    "Z": ("####", "   #", "  # ", "  # ", " #  ", "#   ", "####"),
    " ": ("  ",) * HIGH,
}


def lettered(word: str, columns: int, rows: int) -> list[str]:
    """The word in the largest letters that fit; none where none fit or a letter is not among ours."""
    if not word or any(letter not in LETTERS for letter in word.upper()):
        return []
    for scale in range(max(1, rows * 2 // HIGH), 0, -1):
        lines = blocks(_grid(word.upper(), scale))
        if len(lines) <= rows and len(lines[0]) <= columns:
            return lines
    return []


def _grid(word: str, scale: int) -> Bitmap:
    rows: Bitmap = []
    for y in range(HIGH):
        row: list[bool] = []
        for i, letter in enumerate(word):
            dots = (" " if i else "") + LETTERS[letter][y]
            row += [dot == "#" for dot in dots for _ in range(scale)]
        rows += [row] * scale
    return rows
