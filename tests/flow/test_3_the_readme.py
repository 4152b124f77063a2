"""The stranger reads on: every command the README shows exists, with every option it shows."""

import re
from pathlib import Path

import click
import pytest

from tui.cli import COMMANDS, Lazy, risewalk

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
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


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(name: str) -> None:
    assert isinstance(risewalk, Lazy)
    command = risewalk.get_command(click.Context(risewalk), name)
    assert command is not None
    assert f"risewalk {name}" in f"{command.help}{command.epilog}"
