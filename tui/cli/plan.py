"""What set-out, sheets, quantities and as-built share: a profile, a brief, and the layout chosen from it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drivers.lengths import Units
from logger.errors import CannotWrite, Refused

if TYPE_CHECKING:
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


def read_plan(file: Path, brief_path: Path, risers: int | None) -> Plan:
    """Read the ground and the brief and solve; Refused where the wanted count has no layout, or none has."""
    from logger.profile_file import read_profile
    from logger.steps.brief import read_brief
    from logger.steps.solve import solve

    profile = read_profile(file)
    brief = read_brief(brief_path, {})
    return Plan(profile, brief, choose(solve(profile, brief), risers))


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


def plan_options(*, required: bool) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """--brief and --risers, the same for every command that works on a layout."""

    def options(command: Callable[..., Any]) -> Callable[..., Any]:
        count = click.option("--risers", type=click.IntRange(1), help="This count instead of the best.")
        brief = click.option("--brief", "brief_path", required=required, type=EXISTING, help="The brief (TOML).")
        return brief(count(command))

    return options


def plan_arguments(command: Callable[..., Any]) -> Callable[..., Any]:
    """FILE, --brief and --risers where a layout is needed."""
    return click.argument("file", type=EXISTING)(plan_options(required=True)(command))


def units_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """How lengths are shown to people; the other unit system stands beside them."""
    names = click.Choice([unit.value for unit in Units])
    return click.option(
        "--units", type=names, default=Units.FEET_INCHES.value, show_default=True, help="Units shown first."
    )(command)


def write_file(path: Path, content: str | bytes) -> None:
    """Write a result; CannotWrite says what to do where the folder refuses."""
    try:
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            path.write_text(content, encoding="utf-8", newline="")
    except OSError as error:
        raise CannotWrite(path, f"{error.strerror}; name another place to write to") from error
