"""Terminals as they are: sixteen colours, none, one character wide, resized at any time, put aside and taken up again."""

import re

import pytest
from tmux_terminal import begun, of_session, until

SGR = re.compile(r"\x1b\[([\d;:]*)m")
BARE = "env -u COLORTERM"
SIXTEEN = {*map(str, (*range(30, 38), *range(40, 48), *range(90, 98), *range(100, 108)))}
MISSING = set("▸◂✓▼…━▁▂▃▅▆▇")
"""What the font of the Linux console has no picture for: it holds 256, the blocks of code page 437 among them."""
MORE = {"38", "48"}


def colours(terminal) -> set[str]:
    """The colour codes that stand on the screen: of sixteen by number, 38 and 48 for any others."""
    found: set[str] = set()
    for codes in SGR.findall(terminal("capture-pane", "-p", "-e")):
        parts = re.split("[;:]", codes)
        found |= MORE & set(parts) or SIXTEEN & set(parts)
    return found


@pytest.mark.parametrize(
    ("first", "allowed"),
    [(f"{BARE} TERM=linux", SIXTEEN), (f"{BARE} NO_COLOR=1", set()), (f"{BARE} TERM=xterm-256color", MORE | SIXTEEN)],
    ids=["console", "no colour", "256"],
)
def test_no_more_colours_than_the_terminal_has(terminal, session, level, first: str, allowed: set[str]) -> None:
    begun(terminal, session, level, first=first)
    assert colours(terminal) <= allowed
    assert bool(colours(terminal)) is bool(allowed)
    assert "TERM=linux" not in first or not MISSING & set(terminal.shown)
    turned = any("7" in codes.split(";") for codes in SGR.findall(terminal("capture-pane", "-p", "-e")))
    assert turned or allowed, "the tab in front and the take bar stand out where there are no colours"
    terminal.keys("u")
    terminal.shows("Strike out no. 2")
    terminal.keys("u")
    terminal.shows("No. 2 is struck out")
    terminal("resize-window", "-x", "40", "-y", "20")
    terminal.shows("struck")


def test_resized_at_any_time_down_to_one_character(terminal, session, level) -> None:
    begun(terminal, session, level)
    for n, (wide, high) in enumerate([(1, 1), (200, 60), (40, 20), (3, 50), (120, 2), (80, 24)], 1):
        terminal("resize-window", "-x", str(wide), "-y", str(high))
        terminal.keys("n", *f"remark-{n}", "Enter")
    terminal.shows("Noted: remark-6")
    terminal.keys("Space")
    terminal.shows("0.5 m, +0.100 m")


def test_put_aside_and_taken_up_again(terminal, session, level) -> None:
    begun(terminal, session, level)
    before = set(of_session(session))
    terminal.keys("C-z")
    until(lambda: not terminal.full_screen, lambda: terminal.shown)
    assert not terminal.cursor_hidden
    terminal.keys("echo a''b", "Enter")
    terminal.shows("\nab")
    level.ask("point gate 2.5")
    terminal.keys("fg", "Enter")
    until(lambda: terminal.full_screen, lambda: terminal.shown)
    terminal.shows("+2.500 m above BM")
    terminal.keys("n", "b", "a", "c", "k", "Enter")
    terminal.shows("Noted: back")
    terminal.shows("SPACE ▸ station 0.5 m")
    terminal.shows("sessions")
    assert set(of_session(session)) == before
