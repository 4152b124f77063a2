"""`manual`: the manual page, written from the commands themselves, so that it says what they do."""

import re
from collections.abc import Iterator
from importlib.metadata import version
from inspect import cleandoc

import click

NOT_SHOWN = {"--help"}
PREFORMATTED = "\b"

EXIT_STATUS = (
    ("0", "All is well."),
    ("1", "Out of tolerance, or no layout is possible."),
    ("2", "Wrong usage."),
    ("3", "The instrument is missing, busy, silent or lost."),
    ("4", "A file is unusable, or a session is damaged."),
    ("5", "Cannot write."),
)
CAUTIONS = (
    "Have buried services located and marked before any digging. Steps can hurt those who build and those who use "
    "them; risewalk computes, it does not know the site. Local code and licensed practice govern."
)


@click.command("manual")
def command() -> None:
    """Print the manual page, as man(7) source.

    \b
        risewalk manual > risewalk.1
        man ./risewalk.1
    """
    for line in page():
        click.echo(line)


def page() -> Iterator[str]:
    """The lines of the page."""
    from tui.cli import JOB, Lazy, risewalk

    assert isinstance(risewalk, Lazy)
    context = click.Context(risewalk, info_name="risewalk")
    what, _, rest = (risewalk.help or "").partition("\n\n")
    yield f'.TH RISEWALK 1 "" "risewalk {version("risewalk")}" "User Commands"'
    yield from (".SH NAME", rf"risewalk \- {escaped(what.rstrip('.').replace(chr(10), ' '))}")
    yield from (".SH SYNOPSIS", r".B risewalk", r"\fICOMMAND\fR [\fIOPTIONS\fR] [\fIARGUMENTS\fR]")
    yield from (".SH EXAMPLES", *text(rest))
    for part, names in JOB.items():
        yield f".SH {escaped(part.upper())}"
        for name in names:
            told = risewalk.get_command(context, name)
            assert told is not None
            yield from described(told, click.Context(told, parent=context, info_name=name))
    yield ".SH EXIT STATUS"
    for code, meaning in EXIT_STATUS:
        yield from (".TP", f".B {code}", escaped(meaning))
    yield from (".SH CAUTIONS", escaped(CAUTIONS))


def described(command: click.Command, context: click.Context) -> Iterator[str]:
    """One command: how it is called, what it does, its options, and the commands it holds."""
    usage = " ".join([context.command_path, *command.collect_usage_pieces(context)])
    yield f".SS {escaped(usage)}"
    yield from text(command.help or "")
    for parameter in command.get_params(context):
        record = parameter.get_help_record(context)
        if record is not None and record[1] and not NOT_SHOWN & set(parameter.opts):
            yield from (".TP", rf"\fB{escaped(record[0])}\fR", escaped(record[1]))
    yield from text(command.epilog or "")
    if isinstance(command, click.Group):
        for name, held in command.commands.items():
            yield from described(held, click.Context(held, parent=context, info_name=name))


def text(help_text: str) -> Iterator[str]:
    """Paragraphs; those whose lines must stay as they are, unfilled."""
    for paragraph in filter(str.strip, re.split(r"\n\s*\n", cleandoc(help_text))):
        lines = [line for line in paragraph.splitlines() if line.strip() != PREFORMATTED]
        kept = len(lines) < len(paragraph.splitlines()) or any(line.startswith("  ") for line in lines)
        yield ".PP"
        if kept:
            yield from (".nf", ".RS", *(escaped(line.strip()) for line in lines), ".RE", ".fi")
        else:
            yield from (escaped(line.strip()) for line in lines)


def escaped(line: str) -> str:
    """A line that roff prints as it is written."""
    line = line.replace("\\", r"\e").replace("-", r"\-")
    line = "".join(c if c.isascii() else rf"\[u{ord(c):04X}]" for c in line)
    return r"\&" + line if line.startswith((".", "'")) else line
