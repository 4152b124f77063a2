"""Instrument files: what an instrument sends, how to ask it, and what its number means. Data, not code."""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, get_args

from pydantic import ConfigDict, Discriminator, Field, ValidationError, model_validator

from drivers.errors import InstrumentFileError
from drivers.quantities import quantity
from drivers.scale import Scale, scale_of
from drivers.tables import (
    KINDS,
    AskTable,
    DecoderTable,
    FluidTable,
    HeightTable,
    NameTable,
    ReachTable,
    SerialTable,
    SettleTable,
    SiteTable,
    Table,
    kind_of,
)

SUFFIX = ".toml"
SIGMAS = {"limit": 3**0.5, "95%": 1.959963984540054, "sigma": 1.0}
"""What a stated accuracy is divided by: limits of a rectangular distribution (JCGM 100, 4.3.7), 95 % of a normal."""
FASTEST_M_PER_H = 1000.0
"""A zero that runs faster is none."""
LEAST_DRIFT_M_PER_H = 0.001
"""Zero drift assumed where the file says nothing (common practice for a hose level: a millimetre an hour)."""
WEATHER_PA_PER_H = 100.0
"""How the pressure of the air wanders in an hour (common practice: 1 hPa, on a changing day)."""
LARGEST = 256 * 1024
PLAIN_NAME = re.compile(r"[A-Za-z0-9][\w.-]*")


@dataclass(frozen=True, slots=True)
class SettleRule:
    """When a height counts as steady."""

    window_s: float
    spread_m: float
    damping_s: float = 0.0
    resolution_m: float = 0.0


class InstrumentFile(Table):
    """A whole instrument file."""

    model_config = ConfigDict(extra="forbid", frozen=True, ignored_types=(cached_property,))

    instrument: NameTable = Field(description="What the instrument is called.")
    serial: SerialTable = Field(default_factory=SerialTable, description="The serial line.")
    ask: AskTable | None = Field(None, description="How to ask; left out for an instrument that talks unasked.")
    decoder: Annotated[DecoderTable, Discriminator(kind_of)] = Field(description="How its bytes are read.")
    height: HeightTable = Field(default_factory=HeightTable, description="What the number means.")
    settle: SettleTable = Field(default_factory=SettleTable, description="When a reading counts as steady.")
    fluid: FluidTable | None = Field(None, description="What transmits the pressure.")
    site: SiteTable | None = Field(None, description="Where on earth; gives gravity.")
    reach: ReachTable = Field(default_factory=ReachTable, description="What the instrument can span.")

    @model_validator(mode="after")
    def _quantities_can_be_read(self) -> "InstrumentFile":
        mistakes = list(self._unreadable())
        if mistakes:
            raise ValueError("\n".join(mistakes))
        return self

    def _unreadable(self) -> Iterator[str]:
        try:
            scale = scale_of(self.height, self.fluid, self.site)
        except ValueError as error:
            yield f"height: {error}"
            return
        spans = {
            "height.resolution": self.height.resolution,
            "settle.spread": self.settle.spread,
            "reach.height": self.reach.height,
            "reach.distance": self.reach.distance,
        }
        for path, text in spans.items():
            try:
                if (text or not path.startswith("reach")) and scale.span_m(text) < 0:
                    yield f"{path}: {text!r} is negative"
            except ValueError as error:
                yield f"{path}: {error}"
        for path, read in (("height.accuracy", self._accuracy), ("height.drift", self._drift)):
            try:
                read(scale)
            except ValueError as error:
                yield f"{path}: {error}"

    @cached_property
    def scale(self) -> Scale:
        """From the number shown to metres."""
        return scale_of(self.height, self.fluid, self.site)

    @property
    def settle_rule(self) -> SettleRule:
        """The rule of the settle table, in SI."""
        return SettleRule(
            window_s=quantity(self.settle.window, "s"),
            spread_m=self.scale.span_m(self.settle.spread),
            damping_s=quantity(self.settle.damping, "s"),
            resolution_m=self.resolution_m,
        )

    @property
    def resolution_m(self) -> float:
        """Smallest step of the height; 0 if not told."""
        return self.scale.span_m(self.height.resolution)

    @property
    def accuracy(self) -> tuple[float, float]:
        """Standard uncertainty of one height: (metres, per metre shown)."""
        return self._accuracy(self.scale)

    @property
    def drift_m_per_h(self) -> float:
        """Standard uncertainty of the zero's drift; where the file is silent, by the class of the accuracy."""
        return self._drift(self.scale)

    @property
    def by_air(self) -> bool:
        """Whether heights come from the pressure of the air: the weather moves them by metres in an hour."""
        return self.scale.air is not None

    @property
    def reach_height_m(self) -> float | None:
        """Most height between reference end and probe; None if not told."""
        return self.scale.span_m(self.reach.height) if self.reach.height else None

    @property
    def reach_distance_m(self) -> float | None:
        """Most distance between reference end and probe; None if not told."""
        return self.scale.span_m(self.reach.distance) if self.reach.distance else None

    def _accuracy(self, scale: Scale) -> tuple[float, float]:
        fixed, ratio = 0.0, 0.0
        for part in re.split(r"(?<=[^eE])\+", self.height.accuracy.strip().lstrip("±+")):
            text = part.strip().lstrip("±").strip()
            if text.endswith("%"):
                ratio += abs(quantity(text[:-1], "dimensionless")) / 100
            else:
                fixed += abs(scale.span_m(text))
        divisor = SIGMAS[self.height.accuracy_is]
        return fixed / divisor, ratio / divisor

    def _drift(self, scale: Scale) -> float:
        if not self.height.drift:
            weather = WEATHER_PA_PER_H * scale.metres_per_pascal if scale.air else 0.0
            return max(LEAST_DRIFT_M_PER_H, self._accuracy(scale)[0], weather)
        length, per, time = re.sub(r"\s+per\s+", "/", self.height.drift.strip()).partition("/")
        if not per:
            raise ValueError(f"{self.height.drift!r} is no drift; write 1 mm per h")
        hours = quantity(time if re.match(r"\s*[\d.]", time) else f"1 {time}", "s") / 3600
        if hours * FASTEST_M_PER_H < abs(scale.span_m(length)) or hours <= 0:
            raise ValueError(f"{self.height.drift!r} is no drift; write 1 mm per h")
        return abs(scale.span_m(length)) / hours


def parse(text: str, source: str) -> InstrumentFile:
    """Read the text of an instrument file; InstrumentFileError lists every mistake with its path."""
    try:
        document = tomllib.loads(text)
    except RecursionError:
        raise InstrumentFileError(source, ["not TOML: nested too deeply"]) from None
    except ValueError as error:  # TOMLDecodeError, or a whole number of thousands of digits
        raise InstrumentFileError(source, [f"not TOML: {error}"]) from None
    return from_tables(document, source)


def from_tables(document: dict[str, Any], source: str) -> InstrumentFile:
    """Check the tables of an instrument file; InstrumentFileError lists every mistake with its path."""
    try:
        return InstrumentFile.model_validate(document)
    except ValidationError as error:
        raise InstrumentFileError(source, [m for e in error.errors() for m in _mistakes(dict(e))]) from None


def tables(instrument: InstrumentFile) -> dict[str, Any]:
    """The tables of an instrument file as plain values, defaults left out."""
    plain = instrument.model_dump(by_alias=True, exclude_defaults=True, exclude_none=True, mode="json")
    plain["decoder"] = {"kind": instrument.decoder.kind, **plain.get("decoder", {})}
    inner = getattr(instrument.decoder, "inner", None)
    if not isinstance(inner, dict | None):
        plain["decoder"]["inner"] = {"kind": inner.kind, **plain["decoder"].get("inner", {})}
    if instrument.ask is not None:
        plain.setdefault("ask", {})
    return plain


def dump(instrument: InstrumentFile) -> str:
    """The instrument as the TOML text of its file; `parse` gives the same instrument back."""
    import tomli_w

    return re.sub(r'(?m)^(\w+) = (".*")$', _literal, tomli_w.dumps(tables(instrument)))


def _literal(line: re.Match[str]) -> str:
    """A line of TOML with its text in single quotes where that spares the doubled backslashes of a pattern."""
    text = tomllib.loads(line[0])[line[1]]
    return f"{line[1]} = '{text}'" if "\\" in text and "'" not in text and text.isprintable() else line[0]


def load(name_or_path: str) -> InstrumentFile:
    """The instrument of a shipped name, of the user's folder, or of a path; InstrumentFileError says what is wrong."""
    path = find(name_or_path)
    if path is None:
        from difflib import get_close_matches

        near = get_close_matches(name_or_path, names(), 1)
        hint = f"did you mean {near[0]}?" if near else "see risewalk instruments"
        raise InstrumentFileError(name_or_path, [f"no instrument of that name; {hint}"])
    return _read(path)


def find(name_or_path: str) -> Path | None:
    """The file a name or path stands for; None for a name nobody has."""
    if PLAIN_NAME.fullmatch(name_or_path) is None or name_or_path.endswith(SUFFIX):
        return Path(name_or_path)
    places = (
        user_folder() / f"{name_or_path}{SUFFIX}",
        shipped_folder() / f"{name_or_path}{SUFFIX}",
        Path(name_or_path),
    )
    return next((place for place in places if place.is_file()), None)


def names() -> list[str]:
    """Names of all instruments that `load` knows: shipped, and in the user's folder."""
    found = [*shipped_folder().glob(f"*{SUFFIX}")]
    if user_folder().is_dir():
        found += user_folder().glob(f"*{SUFFIX}")
    return sorted({path.stem for path in found})


def shipped_folder() -> Path:
    """Where the instrument files of this package are."""
    return Path(str(files("drivers"))) / "instruments"


def user_folder() -> Path:
    """Where a person's own instrument files are looked for."""
    from platformdirs import user_config_path

    return user_config_path("risewalk", appauthor=False) / "instruments"


def schema() -> dict[str, Any]:
    """JSON Schema of an instrument file."""
    return InstrumentFile.model_json_schema(by_alias=True)


def described() -> Iterator[tuple[str, str]]:
    """Every field by its path, with its meaning and default."""
    for name, field in InstrumentFile.model_fields.items():
        yield name, field.description or ""
        if name == "decoder":
            for kind, model in KINDS.items():
                yield from _fields_of(f"decoder ({kind})", model)
        else:
            for model in (field.annotation, *get_args(field.annotation)):
                if isinstance(model, type) and issubclass(model, Table):
                    yield from _fields_of(name, model)


def _fields_of(path: str, model: type[Table]) -> Iterator[tuple[str, str]]:
    for name, field in model.model_fields.items():
        default = "needed" if field.is_required() else f"default {field.get_default(call_default_factory=True)!r}"
        yield f"{path}.{field.alias or name}", f"{field.description or 'Names the decoder.'} ({default})"


def _read(path: Path) -> InstrumentFile:
    try:
        if path.stat().st_size > LARGEST:
            raise InstrumentFileError(str(path), ["too large for an instrument file"])
        return parse(path.read_text(encoding="utf-8-sig"), str(path))
    except UnicodeDecodeError:
        raise InstrumentFileError(str(path), ["not a text file in UTF-8"]) from None
    except OSError as error:
        raise InstrumentFileError(str(path), [f"cannot be read: {error.strerror}"]) from None


def _mistakes(error: dict[str, Any]) -> Iterator[str]:
    """One mistake as pydantic tells it, as lines of `path: what is wrong`."""
    place = [str(part) for part in error["loc"]]
    for at in (2, 1):
        if len(place) > at and place[at - 1] in ("decoder", "inner") and place[at] in (*KINDS, "plugin"):
            del place[at]
    message = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "extra_forbidden":
        message = "there is no such field"
    elif error["type"] == "missing":
        message = "this is needed"
    elif "input" in error and isinstance(error["input"], str | int | float | bool):
        message = f"{message} (it says {error['input']!r})"
    for line in message.split("\n"):
        yield f"{'.'.join(place)}: {line}" if place else line
