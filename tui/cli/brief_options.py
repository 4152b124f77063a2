"""Every field of a brief as an option of the command line, made from the tables themselves none forgotten."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from logger.errors import WrongFile
from logger.steps.brief import Brief, Cheek, Fittings, Layers, Rules, Steps, Unit, read_brief
from logger.steps.written import Table

TABLES: dict[str, type[Table]] = {
    "steps": Steps,
    "unit": Unit,
    "layers": Layers,
    "cheek": Cheek,
    "fittings": Fittings,
    "rules": Rules,
}


DOT = "__"
"""What stands between table and field in the names of parameters."""


def brief_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--brief` and one option for every field: `--tread`, `--unit-height`, `--sets`, `--landing-at`."""
    options = [*_field_options(), *_place_options()]
    for option in reversed(options):
        command = option(command)
    existing = click.Path(dir_okay=False, path_type=Path)
    return click.option("--brief", "brief_path", type=existing, help="The brief (TOML).")(command)


def _field_options() -> list[Callable[..., Any]]:
    options = []
    for table, model in TABLES.items():
        for name, field in model.model_fields.items():
            written = field.alias or name
            if field.description and not isinstance(field.default_factory, type):
                flag = written if table in ("steps", "rules") else f"{table}-{written}"
                options.append(
                    click.option(
                        f"--{flag.replace('_', '-')}",
                        f"{table}{DOT}{written}",
                        metavar="TEXT",
                        help=f"[{table}] {field.description}",
                    )
                )
    return options


def _place_options() -> list[Callable[..., Any]]:
    return [
        click.option("--landing-at", multiple=True, metavar="STATION[,DEPTH]", help="A landing is wanted there."),
        click.option("--no-landing", multiple=True, metavar="FROM,TO", help="No landing between these stations."),
    ]


def brief_from(given: Mapping[str, Any]) -> Brief:
    """The brief of a command's options; UsageError where only they are wrong, WrongFile where the file is."""
    path: Path | None = given["brief_path"]
    overrides: dict[str, Any] = {
        name.replace(DOT, ".").removeprefix("steps."): value
        for name, value in given.items()
        if DOT in name and value is not None
    }
    if given.get("landing_at"):
        overrides["landing_at"] = [_pair(text, "station", "depth") for text in given["landing_at"]]
    if given.get("no_landing"):
        overrides["no_landing"] = [_pair(text, "from", "to") for text in given["no_landing"]]
    try:
        return read_brief(path, overrides)
    except WrongFile as error:
        places = {
            name if "." in name or name in ("landing_at", "no_landing") else f"steps.{name}" for name in overrides
        }
        ours = all(any(m.startswith(place) for place in places) for m in error.mistakes)
        if path is None or ours:
            told = [_as_option(mistake) for mistake in error.mistakes]
            hint = [] if path else ["All of them may stand in a file, the brief: --brief FILE"]
            raise click.UsageError("\n".join(told + hint)) from None
        raise


def _pair(text: str, first: str, second: str) -> dict[str, str]:
    one, _, other = text.partition(",")
    return {first: one.strip()} | ({second: other.strip()} if other.strip() else {})


def _as_option(mistake: str) -> str:
    """`steps.tread: …` as `--tread: …`."""
    place, _, why = mistake.partition(": ")
    table, _, field = place.partition(".")
    if table in ("landing_at", "no_landing"):
        return f"--{table.replace('_', '-')}: {field.partition('.')[2] or 'field'}: {why}"
    name = field if table in ("steps", "rules") else place
    return f"--{name.replace('_', '-').replace('.', '-')}: {why}" if name else mistake
