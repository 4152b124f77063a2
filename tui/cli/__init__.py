"""The command line: one module a command, imported only when it is called, so that `--help` answers at once."""

import io
import sys
from contextlib import suppress
from importlib import import_module
from typing import Any

import click

from drivers.errors import DriverError, InstrumentFileError, PortError
from logger.errors import CannotWrite, FileError, Refused, RiseError
from logger.shown import shown

OK, OUT_OF_TOLERANCE, USAGE, NO_INSTRUMENT, BAD_FILE, NO_WRITE = range(6)
"""Exit codes: ok; out of tolerance; wrong usage; instrument missing or lost; file unusable; cannot write."""

JOB = {
    "Begin": {
        "demo": "The whole job on a simulated instrument, every artefact left in a folder.",
        "rules": "List and show rule sets with their sources.",
    },
    "Connect an instrument": {
        "ports": "What is plugged in or advertising.",
        "listen": "Show bytes and readings live, or identify an unknown instrument.",
        "instruments": "List, show and check instrument files.",
        "simulate": "Play a virtual instrument on a pseudo-terminal.",
        "fieldtest": "The standard's test of your own instrument.",
    },
    "Walk the slope": {
        "walk": "The full-screen app on a session.",
        "record": "The same without a screen: tag commands on stdin, one a line.",
        "replay": "A recorded session again, paced or at once.",
        "import": "JSON Lines, or levelling notes kept on paper, as a session.",
        "verify": "Check the digest chain, and derive the profile again from the raw bytes.",
        "profile": "Stations, heights, uncertainties, closure.",
    },
    "Plan, dig and build": {
        "steps": "Layouts for a brief, best first.",
        "setout": "What to mark and where; with a port, live guidance.",
        "takeoff": "Digging, quantities and, with a price file, the quote.",
        "sheet": "Printable sheets.",
        "asbuilt": "What was built against what was designed.",
        "export": "CSV, JSON, JSON Lines, drawings and a copy of the session.",
    },
    "The program itself": {
        "completion": "Completion for bash, zsh and fish.",
        "manual": "The manual page.",
    },
}
COMMANDS = {name: what for part in JOB.values() for name, what in part.items()}


class Unheard(Exception):
    """Nobody reads what a command writes; not an OSError, which click would end with the code of out of tolerance."""


class Lazy(click.Group):
    """A group that knows its commands by name and imports one when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command's module; None for an unknown name."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"tui.cli.{cmd_name}" if cmd_name != "import" else "tui.cli.import_")
        command = module.command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list from the table above, importing nothing."""
        width = max(map(len, COMMANDS))
        for part, commands in JOB.items():
            with formatter.section(part):
                formatter.write_dl([(name.ljust(width), what) for name, what in commands.items()])

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; Unheard where its reader has gone."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise Unheard from None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Suggest the nearest name for an unknown command."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], COMMANDS, 1)
            ctx.fail(f"no command {args[0]!r}" + (f"; did you mean {near[0]!r}?" if near else "; see risewalk --help"))
        return super().resolve_command(ctx, args)


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="risewalk", prog_name="risewalk")
def risewalk() -> None:
    """Walk a slope with a digital level, design the steps that climb it, set them out, and check what was built.

    \b
    risewalk demo
    risewalk walk bank.walk --port /dev/ttyUSB0 --instrument ascii-lines
    risewalk steps bank.walk --brief brief.toml
    risewalk sheet bank.walk --brief brief.toml --out marks.html
    """


def exit_code(error: Exception) -> int:
    """The exit code an error of the packages below stands for."""
    match error:
        case PortError():
            return NO_INSTRUMENT
        case CannotWrite():
            return NO_WRITE
        case InstrumentFileError() | FileError():
            return BAD_FILE
        case Refused():
            return OUT_OF_TOLERANCE
        case _:
            return USAGE


def main() -> None:
    """Run the command line; errors of the packages below become one sentence on stderr and an exit code."""
    out = sys.stdout or io.TextIOWrapper(io.BytesIO())
    clean = Shown(out.buffer, out.encoding, "backslashreplace", line_buffering=bool(out.line_buffering))
    sys.stdout = clean
    try:
        code = risewalk.main(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else OK)
    except click.ClickException as error:
        error.show()
        sys.exit(USAGE)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(130)
    except (BrokenPipeError, Unheard):
        sys.stderr.close()
        sys.exit(OK)
    except (DriverError, RiseError) as error:
        click.echo(f"risewalk: {printable(str(error))}", err=True)
        sys.exit(exit_code(error))
    except OSError as error:
        told = ": ".join(str(part) for part in (error.filename, error.strerror or error) if part)
        click.echo(f"risewalk: {printable(told)}", err=True)
        sys.exit(NO_WRITE)
    finally:
        # Whoever called keeps a standard output that is open.
        sys.stdout = out
        with suppress(OSError, ValueError):
            clean.detach()


def printable(text: str) -> str:
    """Text from a device or a person, with control characters shown and never obeyed."""
    return shown(text, keep="\n\t")


class Shown(io.TextIOWrapper):
    """Standard output: whatever a command writes there, no terminal obeys it."""

    def write(self, text: str) -> int:
        """Write it with control characters written out, but for line ends and tabs."""
        return super().write("\r\n".join(map(printable, text.split("\r\n"))))
