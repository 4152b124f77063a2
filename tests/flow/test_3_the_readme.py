"""The stranger reads on: every command the README shows exists with its options, and every file the map names."""

import re
from pathlib import Path

import click
import pytest

from tui.cli import COMMANDS, Lazy, risewalk

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SHOWN = sorted({" ".join(line.split()) for line in re.findall(r"`(risewalk [a-z]+[^`]*)`", README)})


def options(command: click.Command) -> set[str]:
    """Every option a command or its parts know."""
    known = {name for parameter in command.params for name in parameter.opts}
    parts = command.commands.values() if isinstance(command, click.Group) else ()
    return known.union(*map(options, parts))


@pytest.mark.parametrize("line", SHOWN)
def test_shown_command_exists_with_its_options(line: str) -> None:
    words = line.split()
    if words[1] not in COMMANDS:
        pytest.fail(f"the README shows risewalk {words[1]}")
    assert isinstance(risewalk, Lazy)
    command = risewalk.get_command(click.Context(risewalk), words[1])
    assert command is not None
    assert {word for word in words if word.startswith("--")} <= options(command)


PATHS = sorted(set(re.findall(r"`((?:\.ci|drivers|logger|tui|tests|fixtures)/[\w./]*)", DEVELOPERS)))


@pytest.mark.parametrize("path", PATHS)
def test_what_the_map_for_developers_names_is_there(path: str) -> None:
    assert (ROOT / path).exists()
