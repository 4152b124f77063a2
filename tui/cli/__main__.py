"""`python -m tui.cli`: the command line without the installed script."""

from tui.cli import main

main()
