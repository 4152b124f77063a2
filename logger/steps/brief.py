"""What a person asks for: a TOML file, options on the command line, or both; every mistake is reported at once.

brief file + options --read_brief--> Brief --solve--> Options
"""

import tomllib
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path
from string import ascii_letters
from typing import Any

from pydantic import Field, ValidationError

from drivers.lengths import FEET, INCHES, Units
from logger.errors import FileError, WrongFile
from logger.steps.contradictions import contradictions
from logger.steps.rulebook import RuleSet, rule_set
from logger.steps.tables import (
    Building,
    Cheek,
    Equal,
    Fittings,
    Kind,
    LandingAt,
    Layer,
    Layers,
    NoLanding,
    Rules,
    Steps,
    Top,
    Unit,
)
from logger.steps.written import Table

__all__ = [
    "Brief",
    "Building",
    "Cheek",
    "Equal",
    "Fittings",
    "Kind",
    "LandingAt",
    "Layer",
    "Layers",
    "NoLanding",
    "Rules",
    "Steps",
    "Top",
    "Unit",
    "brief_of",
    "read_brief",
]

OPTIONS = "the options"
"""What stands for the file where there is none."""


class Tables(Table):
    """The tables of a brief as the file has them; lengths are in metres, whatever they were written in."""

    steps: Steps
    unit: Unit = Field(default_factory=Unit)
    layers: Layers = Field(default_factory=Layers)
    cheek: Cheek = Field(default_factory=Cheek)
    fittings: Fittings = Field(default_factory=Fittings)
    rules: Rules = Field(default_factory=Rules)
    landing_at: tuple[LandingAt, ...] = ()
    no_landing: tuple[NoLanding, ...] = ()


class Brief(Tables):
    """A whole brief: its tables, the file they came from, the units people read, and the rule sets it names."""

    source: str = OPTIONS
    shown_in: Units = Units.METRES
    rule_sets: tuple[RuleSet, ...] = ()

    @property
    def landing_fall(self) -> float:
        """Slope of landings towards the foot."""
        return self.steps.fall if self.steps.landing_fall is None else self.steps.landing_fall


def read_brief(path: Path | str | None, overrides: Mapping[str, object] | None = None) -> Brief:
    """Read a brief and lay options over it: `tread` for a field of `[steps]`, `unit.height` for any other.

    Raises WrongFile with every mistake as `steps.tread: what is wrong`, FileError where the file cannot be read.
    """
    source = OPTIONS if path is None else str(path)
    return brief_of(_document(path), overrides or {}, source)


def brief_of(
    document: Mapping[str, Any], overrides: Mapping[str, object] | None = None, source: str = OPTIONS
) -> Brief:
    """The same from a document already read; for screens that edit a brief in place."""
    tables = _laid_over(document, overrides or {})
    steps = tables.get("steps", {})
    units, mistakes = _units(steps.get("units") if isinstance(steps, dict) else None)
    _derive_tread(tables, units)
    brief, wrong = _validated(tables, units)
    mistakes.update(wrong)
    rule_sets, unknown = [], []
    for name in brief.rules.sets:
        try:
            rule_sets.append(rule_set(name))
        except ValueError as error:
            unknown.append(str(error))
    if unknown:
        mistakes["rules.sets"] = "; ".join(unknown)
    mistakes.update({p: why for p, why in contradictions(brief, set(mistakes)) if p not in mistakes})
    if mistakes:
        raise WrongFile(source, [f"{place}: {why}" for place, why in mistakes.items()])
    shown_in = _shown_in(tables, units)
    return Brief.model_construct(**dict(brief), source=source, shown_in=shown_in, rule_sets=tuple(rule_sets))


def _document(path: Path | str | None) -> dict[str, Any]:
    if path is None:
        return {}
    try:
        text = Path(path).read_bytes().decode("utf-8")
        return tomllib.loads(text)
    except UnicodeDecodeError:
        raise WrongFile(path, ["it is not text in UTF-8"]) from None
    except (ValueError, RecursionError) as error:
        raise WrongFile(path, [f"it is not TOML: {error}"]) from None
    except OSError as error:
        raise FileError(path, f"cannot be read: {error.strerror}") from None


def _laid_over(document: Mapping[str, Any], overrides: Mapping[str, object]) -> dict[str, Any]:
    tables = {name: dict(t) if isinstance(t, dict) else t for name, t in document.items()}
    for name, value in overrides.items():
        if value is None:
            continue
        *where, field = name.split(".")
        if not where and field in ("landing_at", "no_landing"):
            tables[field] = value
            continue
        table = tables
        for part in where or ["steps"]:
            inner = table.get(part)
            table[part] = dict(inner) if isinstance(inner, dict) else {}
            table = table[part]
        table[field] = value
    tables.setdefault("steps", {})
    return {name: _without_blanks(table) for name, table in tables.items()}


def _without_blanks(value: Any) -> Any:
    """A field left blank is one not given."""
    if isinstance(value, dict):
        return {name: _without_blanks(inner) for name, inner in value.items() if inner != ""}
    return value


def _units(written: object) -> tuple[Units, dict[str, str]]:
    if written in (None, ""):
        return Units.METRES, {}
    try:
        return Units(str(written)), {}
    except ValueError:
        return Units.METRES, {"steps.units": f"{written!r} is none of ft-in, ft, m, mm"}


def _derive_tread(tables: dict[str, Any], units: Units) -> None:
    """Where only the unit's depth is said, the tread follows from it."""
    steps, unit = tables["steps"], tables.get("unit")
    if not isinstance(steps, dict) or not isinstance(unit, dict) or steps.get("tread") not in (None, ""):
        return
    try:
        known = Unit.model_validate(unit, context={"units": units})
    except ValidationError:
        return
    if (tread := tread_of_unit(known)) is not None and tread > 0:
        tables["steps"] = steps | {"tread": f"{tread!r} m"}


def tread_of_unit(unit: Unit) -> float | None:
    """Nosing to nosing over the units of one tread, None where their depth is not said."""
    if unit.depth_m is None:
        return None
    return unit.deep * unit.depth_m + (unit.deep - 1) * unit.joint_m - unit.overhang_m - unit.overlap_m


def _validated(tables: dict[str, Any], units: Units) -> tuple[Tables, dict[str, str]]:
    """The brief, and what was wrong; wrong fields are left at a stand-in so that the others can be judged too."""
    mistakes: dict[str, str] = {}
    data: Any = tables
    for _ in range(3):
        try:
            return Tables.model_validate(data, context={"units": units}), mistakes
        except ValidationError as error:
            found = error.errors(include_url=False)
            mistakes = {".".join(map(str, wrong["loc"])): _why(wrong) for wrong in found} | mistakes
            places = dict.fromkeys(_to_an_item(wrong["loc"]) for wrong in found)
            for place in reversed(places):  # the last item of a list goes first
                data = _without(data, place)
    return Tables.model_validate({"steps": STAND_IN}), mistakes


STAND_IN = {"tread": "0.3 m", "landing": "1 m"}


def _to_an_item(place: tuple[Any, ...]) -> tuple[Any, ...]:
    """A place, cut at the first item of a list: that is left out whole."""
    return place[: next((i for i, part in enumerate(place) if isinstance(part, int)), len(place)) + 1]


def _without(data: Any, place: tuple[Any, ...], table: str = "") -> Any:
    """A copy without what is at a place, or with a stand-in where `[steps]` requires it."""
    first, rest = place[0], place[1:]
    if isinstance(data, list | tuple):
        return [item for i, item in enumerate(data) if i != first]
    kept = dict(data)
    if rest and isinstance(kept.get(first), dict | list | tuple):
        kept[first] = _without(kept[first], rest, first)
    elif place == ("steps",) and not table:
        kept[first] = STAND_IN
    elif table == "steps" and first in STAND_IN:
        kept[first] = STAND_IN[first]
    else:
        kept.pop(first, None)
    return kept


def _why(wrong: Any) -> str:
    kind, written = wrong["type"], wrong["input"]
    if kind == "missing":
        return "is required"
    if kind == "extra_forbidden":
        if len(wrong["loc"]) == 1 and wrong["loc"][0] in _known(("steps",)):
            return "it belongs under [steps]"
        near = get_close_matches(str(wrong["loc"][-1]), list(_known(wrong["loc"][:-1])), 1)
        return "there is no such field" + (f"; did you mean {near[0]}?" if near else "")
    if kind == "value_error":
        return str(wrong["ctx"]["error"])
    if kind in ("greater_than", "greater_than_equal"):
        limit = wrong["ctx"].get("gt", wrong["ctx"].get("ge"))
        return f"{written!r} must be {'more than' if kind == 'greater_than' else 'at least'} {limit:g}"
    if kind in FORMS:
        return f"{written!r} is not {FORMS[kind]}"
    return f"{written!r}: {wrong['msg'][0].lower()}{wrong['msg'][1:]}"


FORMS = {
    "model_type": "a table",
    "tuple_type": "a list",
    "string_type": "text",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
}
"""What a field of another form must be, by the name pydantic has for the mistake."""


TABLES: dict[str, type[Table]] = {
    "steps": Steps,
    "unit": Unit,
    "layers": Layers,
    "cheek": Cheek,
    "fittings": Fittings,
    "rules": Rules,
    "landing_at": LandingAt,
    "no_landing": NoLanding,
    "landing": Layer,
    "first": Layer,
}


def _known(place: tuple[Any, ...]) -> Iterator[str]:
    """The fields of the table at a place."""
    named = [part for part in place if not isinstance(part, int)]
    model = TABLES[named[-1]] if named and named[-1] in TABLES else Tables
    yield from (f.alias or name for name, f in model.model_fields.items())


def _shown_in(tables: dict[str, Any], units: Units) -> Units:
    """As told, else as the tread was written."""
    steps: dict[str, Any] = tables["steps"]
    if steps.get("units") not in (None, ""):
        return units
    written = str(steps.get("tread", "")).replace('"', "in").replace("'", "ft").rstrip(" .")
    name = written[len(written.rstrip(ascii_letters)) :]
    if name in FEET | INCHES:
        return Units.FEET_INCHES
    return Units.MILLIMETRES if name == "mm" else Units.METRES
