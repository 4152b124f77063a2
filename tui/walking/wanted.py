"""What steps are wanted, as edited on the screen: the brief file, if any, with what was typed laid over it."""

import tomllib
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from drivers.lengths import Units
from logger.errors import CannotWrite, WrongFile

FIRST = {True: {"tread": "16 in", "landing": "36 in"}, False: {"tread": "0.4 m", "landing": "0.9 m"}}
"""Where nothing was said yet (common practice for garden steps), by whether feet are shown."""
STEPS = "steps"
BESIDE = ".brief.toml"


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a brief; `place` is table and name, `without` what holds where it is empty."""

    place: str
    asks: str
    without: str


FIELDS = (
    Field("steps.top", "At the top, do you step up onto something already there?", "tread: no"),
    Field("steps.run", "Run, from the first riser to the end of the steps", "to the last point"),
    Field("steps.rise", "Rise, finished height at the end above the grade at the foot", "from the ground"),
    Field("steps.riser", "Riser wanted, nosing to nosing", "the easiest climb"),
    Field("steps.tread", "Tread, nosing to nosing", "needed"),
    Field("steps.tread_max", "Treads may be as deep as", "the tread"),
    Field("steps.landing", "Least depth of a landing", "needed"),
    Field("steps.flight_risers", "Most risers without a landing", "the strictest of the rules"),
    Field("steps.fall", "Fall of treads and landings, such as 1 % or 1/8 in per ft", "1 %"),
    Field("steps.start", "Station of the first riser", "the first point"),
    Field("steps.start_slack", "How far the first riser may move along the line", "not at all"),
    Field("steps.bottom", "Finished grade at the foot, above the ground there", "the ground"),
    Field("steps.foot", "Named point at the foot: the finished walk below", "none"),
    Field("steps.head", "Named point at the head: the patio or sill", "none"),
    Field("steps.width", "Width of the steps", "not said"),
    Field("steps.last_tread", "Depth of the last tread, where it differs", "as the others"),
    Field("steps.landing_step", "Landings grow by whole multiples of", "any depth"),
    Field("steps.grid", "Riser faces stand on whole multiples of", "1/2 in"),
    Field("layers.unit", "Height of the step unit, for digging", "not said"),
    Field("layers.bedding", "Bedding under it", "none"),
    Field("layers.base", "Compacted base under that", "none"),
    Field("rules.sets", "Rule sets, such as irc-2024 or garden", "common practice"),
)
CHOICES = {
    "steps.top": {"grade": "Yes: the last riser meets it (grade)", "tread": "No: the last tread is ours (tread)"}
}
LISTS = {"rules.sets"}


@dataclass
class Wanted:
    """A brief being edited; `path` is where it came from or will be kept, `document` its tables as written."""

    path: Path
    document: dict[str, Any] = field(default_factory=dict)
    changed: bool = False

    def text(self, place: str) -> str:
        """What a field says, as written; empty where it says nothing."""
        value = self._table(place.split(".")[0]).get(place.split(".")[1], "")
        return ", ".join(map(str, value)) if isinstance(value, list) else str(value)

    def wrong(self, place: str, text: str) -> str:
        """What would be wrong with a text in a field, or nothing."""
        from logger.steps.brief import brief_of

        try:
            brief_of(self._with(place, text), source=str(self.path))
        except WrongFile as error:
            return next((m.removeprefix(f"{place}: ") for m in error.mistakes if m.startswith(f"{place}: ")), "")
        return ""

    def write(self, place: str, text: str) -> None:
        """Put a text into a field; an empty one takes it out."""
        self.document, self.changed = self._with(place, text), True

    def _with(self, place: str, text: str) -> dict[str, Any]:
        table, name = place.split(".")
        document = deepcopy(self.document)
        values = document.setdefault(table, {})
        if text.strip():
            values[name] = [part.strip() for part in text.split(",")] if place in LISTS else _number_or_text(text)
        else:
            values.pop(name, None)
        return document

    def keep(self) -> None:
        """Write the brief to its file; CannotWrite says why not."""
        self.write_to(self.path)
        self.changed = False

    def write_to(self, path: Path) -> None:
        """Write the brief as it is now to any file; CannotWrite says why not."""
        from tomli_w import dumps

        try:
            path.write_text(dumps(self.document), encoding="utf-8")
        except OSError as error:
            raise CannotWrite(path, error.strerror or "cannot be written") from error

    def _table(self, name: str) -> Mapping[str, Any]:
        table = self.document.get(name, {})
        return table if isinstance(table, Mapping) else {}


def _number_or_text(text: str) -> str | int:
    return int(text) if text.strip().isdigit() and len(text) < 9 else text.strip()


def brief_beside(session: Path) -> Path | None:
    """The brief kept beside a session, None where there is none."""
    path = session.with_suffix(BESIDE)
    return path if path.exists() else None


def wanted_for(session: Path, brief: Path | None, units: Units) -> Wanted:
    """The brief given, else the one kept beside the session, else a first one; WrongFile where it is not TOML."""
    path = brief or brief_beside(session)
    if path is None:
        feet = units in (Units.FEET_INCHES, Units.FEET)
        return Wanted(session.with_suffix(BESIDE), {STEPS: {"units": str(units), **FIRST[feet]}})
    try:
        return Wanted(path, tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, RecursionError) as error:
        raise WrongFile(path, [f"cannot be read as a brief: {error}"]) from error
