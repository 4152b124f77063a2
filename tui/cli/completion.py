"""`completion`: the script that teaches a shell the commands, options and files of risewalk."""

import click

SHELLS = ("bash", "zsh", "fish")
VARIABLE = "_RISEWALK_COMPLETE"
"""What the script sets to ask the program; the name that click derives from `risewalk`."""

HELP = """Print the script that completes commands and options when Tab is pressed.

\b
    risewalk completion bash >> ~/.bashrc
    risewalk completion zsh >> ~/.zshrc
    risewalk completion fish > ~/.config/fish/completions/risewalk.fish
"""


@click.command("completion", help=HELP)
@click.argument("shell", type=click.Choice(SHELLS))
def command(shell: str) -> None:
    """Print the script of one shell."""
    from click.shell_completion import get_completion_class

    from tui.cli import risewalk

    script = get_completion_class(shell)
    assert script is not None
    click.echo(script(risewalk, {}, "risewalk", VARIABLE).source())
