"""Rule sets: data with clause, edition and how each value is known; a person's own folder adds and overrides.

A set is a TOML file. `[set]` has `name`, `title`, `edition`, `where` and `source`; each `[[rule]]` has a `name`, what
it `measures`, `least` and/or `most` as the source writes them, its `clause`, how it is `known`, and what a `breach` is.
"""

import tomllib
from collections.abc import Iterator
from difflib import get_close_matches
from enum import StrEnum
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path

from pydantic import Field, ValidationError

from drivers.lengths import length_m
from drivers.quantities import slope
from logger.errors import WrongFile
from logger.steps.option import Verdict
from logger.steps.written import MaybeLength, Table
from logger.written import number

GOVERNS = "Local code and licensed practice govern; these sets are aids, amended locally and by edition."


class Measure(StrEnum):
    """What a rule holds against its limits."""

    NOSING_RISE = "nosing_rise"
    FACE = "face"
    TREAD = "tread"
    EVENNESS = "evenness"
    NEIGHBOURS = "neighbouring_risers"
    TREAD_EVENNESS = "tread_evenness"
    STEP_RULE = "step_rule"
    RISE_AND_TREAD = "rise_and_tread"
    PITCH = "pitch"
    FLIGHT_RISE = "flight_rise"
    FLIGHT_RISERS = "flight_risers"
    TOTAL_RISERS = "total_risers"
    LANDING_DEPTH = "landing_depth"
    TREAD_FALL = "tread_fall"
    LANDING_FALL = "landing_fall"
    WIDTH = "width"
    HANDRAIL = "handrail"
    GUARD = "guard"
    NOTE = "note"


LENGTHS = {
    Measure.NOSING_RISE,
    Measure.FACE,
    Measure.TREAD,
    Measure.EVENNESS,
    Measure.NEIGHBOURS,
    Measure.TREAD_EVENNESS,
    Measure.STEP_RULE,
    Measure.RISE_AND_TREAD,
    Measure.FLIGHT_RISE,
    Measure.LANDING_DEPTH,
    Measure.WIDTH,
    Measure.GUARD,
}
SLOPES = {Measure.TREAD_FALL, Measure.LANDING_FALL}


class Known(StrEnum):
    """How a value is known."""

    READ = "read in the source"
    TRANSCRIBED = "read in a transcription"
    MEMORY = "from memory"
    PRACTICE = "common practice"


class Rule(Table):
    """One rule, its limits as the source writes them."""

    name: str
    measures: Measure
    least: str | int | float | None = None
    most: str | int | float | None = None
    clause: str = ""
    known: Known = Known.READ
    breach: Verdict = Verdict.FAIL
    up_to_width_m: MaybeLength = Field(
        default=None, description="the least is the width of the steps, but no more than this"
    )
    text: str = ""

    def limit(self, written: str | int | float | None) -> float | None:
        """A limit as a number: metres, a ratio, degrees or a count."""
        if written is None:
            return None
        if self.measures in LENGTHS:
            return length_m(str(written))
        if self.measures in SLOPES:
            return slope(str(written))
        if (value := number(str(written))) is None:
            raise ValueError(f"{written!r} is not a number")
        return value

    @cached_property
    def least_value(self) -> float | None:
        """The least, in metres, as a ratio, in degrees or as a count."""
        return self.limit(self.least)

    @cached_property
    def most_value(self) -> float | None:
        """The most, likewise."""
        return self.limit(self.most)

    def limits(self, width_m: float | None) -> tuple[float | None, float | None]:
        """Least and most on steps of that width."""
        least = self.least_value
        if self.up_to_width_m is not None:
            least = self.up_to_width_m if width_m is None else min(width_m, self.up_to_width_m)
        return least, self.most_value


class RuleSet(Table):
    """One set of rules: what it is, and its rules in the order of the file."""

    name: str
    title: str
    edition: str = ""
    where: str = ""
    source: str = ""
    scope: str = ""
    rules: tuple[Rule, ...] = ()
    file: str = ""


def user_folder() -> Path:
    """Where a person keeps rule sets of their own."""
    from platformdirs import user_config_path

    return user_config_path("risewalk") / "rules"


def rule_set_names(folder: Path | None = None) -> dict[str, Path | None]:
    """Names of all sets, with the file of those that a person keeps; None for the shipped ones."""
    names: dict[str, Path | None] = {
        entry.name.removesuffix(".toml"): None
        for entry in sorted(files("logger.steps").joinpath("rules").iterdir(), key=lambda e: e.name)
        if entry.name.endswith(".toml")
    }
    own = user_folder() if folder is None else folder
    if own.is_dir():
        names |= {path.stem: path for path in sorted(own.glob("*.toml"))}
    return names


def rule_set(name: str, folder: Path | None = None) -> RuleSet:
    """One set by name, the person's own before the shipped; ValueError names the nearest where there is none."""
    names = rule_set_names(folder)
    if name not in names:
        near = get_close_matches(name, names, 1)
        raise ValueError(f"there is no rule set {name!r}" + (f"; did you mean {near[0]}?" if near else ""))
    own = names[name]
    if own is None:
        return _shipped(name)
    try:
        return parse(own.read_text(encoding="utf-8"), str(own), name)
    except (OSError, UnicodeDecodeError) as error:
        raise WrongFile(own, [f"cannot be read: {error}"]) from None


@cache
def _shipped(name: str) -> RuleSet:
    text = files("logger.steps").joinpath("rules", f"{name}.toml").read_text(encoding="utf-8")
    return parse(text, f"{name}.toml", name)


def parse(text: str, source: str, name: str) -> RuleSet:
    """A rule set from its TOML; WrongFile with every mistake."""
    try:
        try:
            document = tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            raise WrongFile(source, [f"it is not TOML: {error}"]) from None
        head = document.get("set", {})
        if not isinstance(head, dict):
            raise WrongFile(source, ["set: it must be a table"])
        found = RuleSet.model_validate({"name": name, **head, "rules": document.get("rule", []), "file": source})
    except ValidationError as error:
        wrong = [f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors(include_url=False)]
        raise WrongFile(source, [w.replace("rules.", "rule.", 1) for w in wrong]) from None
    mistakes = [*_stray(document), *_limits(found)]
    if mistakes:
        raise WrongFile(source, mistakes)
    return found


def _stray(document: dict[str, object]) -> Iterator[str]:
    for table in document:
        if table not in ("set", "rule"):
            yield f"{table}: there is no such table; a rule set has set and rule"


def _limits(found: RuleSet) -> Iterator[str]:
    for i, rule in enumerate(found.rules):
        for side in ("least", "most"):
            try:
                rule.limit(getattr(rule, side))
            except ValueError as error:
                yield f"rule.{i}.{side}: {error}"
        if (
            rule.least is None
            and rule.most is None
            and rule.up_to_width_m is None
            and rule.measures is not Measure.NOTE
        ):
            yield f"rule.{i}: {rule.name} has neither least nor most"
