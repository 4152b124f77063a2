"""`risewalk rules`: which rule sets there are, what they say, and how each value is known."""

from typing import Any

import click

from logger.errors import WrongFile
from tui.cli.output import emit_json

SCHEMA = "risewalk.rules/1"


@click.command(epilog="risewalk rules irc-2024")
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="For programs.")
def command(name: str | None, as_json: bool) -> None:
    """List the rule sets, or show one with the clause and the source of each value.

    Files in your own folder (named in the list) are added, and stand before the shipped ones of the same name.
    """
    from logger.steps.rulebook import GOVERNS, RuleSet, rule_set, rule_set_names, user_folder

    names = rule_set_names()
    if name is not None and name not in names:
        try:
            rule_set(name)
        except ValueError as error:
            raise click.UsageError(f"{error}; see risewalk rules") from None
    sets: list[RuleSet] = []
    for each in [name] if name is not None else names:
        try:
            sets.append(rule_set(each))
        except WrongFile as error:
            if name is not None:
                raise
            click.echo(str(error), err=True)
    if as_json:
        emit_json({"schema": SCHEMA, "governs": GOVERNS, "folder": str(user_folder()), "sets": _plain(sets)})
        return
    if name is None:
        for rules in sets:
            own = "  (your own)" if names[rules.name] is not None else ""
            click.echo(f"{rules.name:<22} {rules.title}" + (f", {rules.edition}" if rules.edition else "") + own)
        click.echo(f"\nYour own sets: {user_folder()}/NAME.toml")
    else:
        _show(sets[0])
    click.echo(GOVERNS)


def _plain(sets: list[Any]) -> list[dict[str, Any]]:
    return [rules.model_dump(mode="json", by_alias=True, exclude_none=True) for rules in sets]


def _show(rules: Any) -> None:
    click.echo(f"{rules.name}: {rules.title}")
    for label, text in (
        ("edition", rules.edition),
        ("where", rules.where),
        ("scope", rules.scope),
        ("source", rules.source),
        ("file", rules.file),
    ):
        if text:
            click.echo(f"  {label:<8} {text}")
    for rule in rules.rules:
        limits = [
            f"{side} {value}" for side, value in (("at least", rule.least), ("at most", rule.most)) if value is not None
        ]
        if rule.up_to_width_m is not None:
            limits.append(f"at least the width, up to {rule.up_to_width_m:.3f} m")
        what = rule.measures.value.replace("_", " ")
        said = " ".join([what, ", ".join(limits)]).strip()
        click.echo(f"  {rule.name}: {said} [{rule.clause or 'no clause'}; {rule.known}]")
        if rule.text:
            click.echo(f"      {rule.text}")
    click.echo("")
