"""How the fields of a brief are written: lengths and slopes as people write them, blank for not given."""

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from drivers.lengths import Units, length_m
from drivers.quantities import slope

STEEPEST_FALL = 0.1
"""Above one in ten a surface is a ramp, not a tread that drains."""


def _written(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError("write a length such as 3.5 m or 12 ft 6 in")
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("it is not a finite number")
    return str(value)


def _length(value: Any, info: ValidationInfo) -> float:
    return length_m(_written(value), (info.context or {}).get("units", Units.METRES))


def _slope(value: Any) -> float:
    ratio = slope(_written(value))
    if not 0 <= ratio <= STEEPEST_FALL:
        raise ValueError("a fall is from 0 to 1:10, downwards to the foot")
    return ratio


def _list(value: Any) -> Any:
    return [name.strip() for name in value.split(",") if name.strip()] if isinstance(value, str) else value


Length = Annotated[float, BeforeValidator(_length)]
"""Any length, up or down."""
Depth = Annotated[float, BeforeValidator(_length), Field(ge=0)]
"""A length of at least nothing."""
Size = Annotated[float, BeforeValidator(_length), Field(gt=0)]
"""A length of more than nothing."""
MaybeLength = Length | None
MaybeDepth = Depth | None
MaybeSize = Size | None
Fall = Annotated[float, BeforeValidator(_slope)]
"""A slope towards the foot, as a ratio."""
MaybeFall = Fall | None
Names = Annotated[tuple[str, ...], BeforeValidator(_list)]
"""A list, or names with commas between."""


class Table(BaseModel):
    """One table of a brief: fields named as written, without the `_m` that says they are metres here."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        alias_generator=lambda name: name.removesuffix("_m"),
        populate_by_name=False,
    )
