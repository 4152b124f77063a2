"""How commands put their results on stdout: JSON for programs, lines for people."""

import json
import math
import sys
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

from logger.shown import shown_json


def emit_json(document: Mapping[str, Any], *, line: bool = False) -> None:
    """Write one JSON document to stdout: indented, or on one line where a command streams."""
    sys.stdout.write(json_text(document, line=line))
    sys.stdout.flush()


def json_text(document: Mapping[str, Any], *, line: bool = False) -> str:
    """A JSON document as text, with its line end."""
    text = json.dumps(plain(document), ensure_ascii=False, allow_nan=False, indent=None if line else 2)
    return shown_json(text) + "\n"


def plain(value: Any) -> Any:
    """Dataclasses, enums, tuples and NumPy numbers as JSON can hold them; ValueError for a number not finite."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("a number that is not finite reached the output")
    return value
