"""The manual page and the completion of shells, checked by the programs that use them."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tui.cli import COMMANDS, Lazy, risewalk
from tui.cli.completion import SHELLS, VARIABLE
from tui.cli.manual import escaped, text

PROGRAM = Path(sys.executable).with_name("risewalk")


@pytest.fixture(scope="module")
def page() -> str:
    """The source of the manual page."""
    done = CliRunner().invoke(risewalk, ["manual"])
    assert done.exit_code == 0, done.output
    return done.output


def test_manual_names_every_command_and_every_option(page: str) -> None:
    assert isinstance(risewalk, Lazy)
    plain = page.replace("\\-", "-")
    for name in COMMANDS:
        assert f".SS risewalk {name}" in plain
        command = risewalk.get_command(click.Context(risewalk), name)
        assert command is not None
        shown = [p for p in command.params if isinstance(p, click.Option) and not p.hidden]
        assert all(option.opts[0] in plain for option in shown)


def test_manual_is_set_without_a_warning(page: str) -> None:
    if shutil.which("groff") is None:
        pytest.skip("groff is not installed")
    done = subprocess.run(
        ["groff", "-man", "-Tutf8", "-ww", "-rLL=100n"], input=page, capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
    assert "Local code and licensed practice govern." in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    ("line", "source"), [(".so /etc/passwd", r"\&.so /etc/passwd"), ("a\\b -c", r"a\eb \-c"), ("±", r"\[u00B1]")]
)
def test_text_is_never_taken_for_roff(line: str, source: str) -> None:
    assert escaped(line) == source


def test_examples_keep_their_lines() -> None:
    told = list(text("First\nline.\n\n\b\nrisewalk demo\nrisewalk walk\n\n    indented\n"))
    assert told[:3] == [".PP", "First", "line."]
    assert told[3:] == [
        *(".PP", ".nf", ".RS", "risewalk demo", "risewalk walk", ".RE", ".fi"),
        *(".PP", ".nf", ".RS", "indented", ".RE", ".fi"),
    ]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_shows_an_example_that_it_takes(name: str) -> None:
    assert isinstance(risewalk, Lazy)
    command = risewalk.get_command(click.Context(risewalk), name)
    assert command is not None
    told = f"{command.help or ''}\n{command.epilog or ''}"
    examples = re.findall(rf"^\s*(?:[A-Z][a-z ]+: )?risewalk {name}\b(.*)", told, re.MULTILINE)
    assert examples
    for example in examples:
        words, *_ = re.split(r"\s{2,}|\s>+ ", example)
        command.make_context(name, shlex.split(words))


@pytest.mark.parametrize("shell", SHELLS)
def test_each_shell_reads_its_script(shell: str) -> None:
    done = CliRunner().invoke(risewalk, ["completion", shell])
    assert done.exit_code == 0, done.output
    assert VARIABLE in done.output
    if shutil.which(shell) is not None:
        subprocess.run([shell, "-n"], input=done.output, text=True, check=True)


@pytest.mark.parametrize(
    ("typed", "offered"), [("st", ["steps"]), ("sheet --ki", ["--kind"]), ("sheet --kind qu", None)]
)
def test_tab_in_bash(typed: str, offered: list[str] | None) -> None:
    if shutil.which("bash") is None or not PROGRAM.exists():
        pytest.skip("needs bash and the installed command")
    words = ["risewalk", *typed.split()]
    script = (
        f'source <("{PROGRAM}" completion bash)\n'
        f"COMP_WORDS=({' '.join(words)}) COMP_CWORD={len(words) - 1}\n"
        f'_risewalk_completion "{PROGRAM}"\n'
        'printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    done = subprocess.run(["bash", "-c", script], env=os.environ, capture_output=True, text=True, check=True)
    assert done.stdout.split() == (offered or ["quantities", "quote"])
