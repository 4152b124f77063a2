"""What set-out, sheets, quantities and as-built share: a profile, a brief, and the layout chosen from it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logger.errors import CannotWrite, Refused

if TYPE_CHECKING:
    from drivers.lengths import Units
    from logger.profile import Profile
    from logger.steps.brief import Brief
    from logger.steps.option import Option, Options


EXISTING = click.Path(dir_okay=False, path_type=Path)


@dataclass(frozen=True, slots=True)
class Plan:
    """The ground, what is wanted, and the layout to build."""

    profile: "Profile"
    brief: "Brief"
    option: "Option"

    @property
    def units(self) -> "Units":
        """Units shown first: as told, else as the brief is written; the other system stands beside them."""
        return self.brief.shown_in


def read_plan(file: Path, given: Mapping[str, Any]) -> Plan:
    """Read the ground and the brief and solve; Refused where the wanted count has no layout, or none has."""
    from logger.profile_file import read_profile
    from logger.steps.solve import solve
    from tui.cli.brief_options import brief_from
    from tui.cli.waiting import waiting

    brief = brief_from(given)
    with waiting("reading the ground and solving"):
        profile = read_profile(file)
        options = solve(profile, brief)
    return Plan(profile, brief, choose(options, given["risers"]))


def choose(options: "Options", risers: int | None) -> "Option":
    """The layout with a riser count, or the best; Refused with the causes where there is none."""
    if risers is None and options.options:
        return options.options[options.chosen]
    for option in options.options:
        if option.risers == risers:
            return option
    causes = [
        f"{refusal.risers} risers: {'; '.join(cause.text for cause in refusal.causes)}"
        for refusal in options.refused
        if risers in (None, refusal.risers)
    ]
    counts = ", ".join(str(option.risers) for option in sorted(options.options, key=lambda o: o.risers))
    said = causes or [f"no layout with {risers} risers; there are {counts or 'none'}"]
    raise Refused("no_layout", "; ".join(said))


def plan_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """--brief, --risers and every field of the brief, the same for every command that works on a layout.

    The fields stand in the help of `steps` alone, where a brief is made.
    """
    from tui.cli.brief_options import brief_options

    before = len(getattr(command, "__click_params__", ()))
    described = brief_options(command)
    for option in described.__click_params__[before:]:  # type: ignore[attr-defined]
        option.hidden = option.name not in ("brief_path", "steps__units")
    count = click.option("--risers", type=click.IntRange(1), help="This count instead of the best.")
    return count(described)


def plan_arguments(command: Callable[..., Any]) -> Callable[..., Any]:
    """FILE, and the options of a layout."""
    return click.argument("file", type=EXISTING)(plan_options(command))


def live_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """--port, --instrument and --live, the same for every command that works with an instrument on a layout."""
    for option in (
        click.option("--live", is_flag=True, help="Live, with the recorder that runs or the port the session knows."),
        click.option("--instrument", default="", help="Name or file of the instrument."),
        click.option("--port", default="", help="Live, with this instrument; a running recorder needs none."),
    ):
        command = option(command)
    return command


def write_file(path: Path, content: str | bytes) -> None:
    """Write a result; CannotWrite says what to do where the folder refuses, or where a session would be lost."""
    spare_session(path)
    try:
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            path.write_text(content, encoding="utf-8", newline="")
    except OSError as error:
        raise CannotWrite(path, f"{error.strerror}; name another place to write to") from error


def spare_session(path: Path) -> None:
    """CannotWrite where a file to be written over is a walk: nothing brings it back."""
    from logger.profile_file import is_session

    if path.is_file() and is_session(path):
        raise CannotWrite(path, "it is a session and is not written over; name another file")
