"""What was chosen last on this computer: instrument, port, units, tape; so that tomorrow starts with one key."""

import json
import logging
from dataclasses import asdict, dataclass, fields
from pathlib import Path

log = logging.getLogger(__name__)
FILE = "last.json"
TAPES = {
    "level": "held level, its end plumbed down",
    "taut": "pulled taut along the slope",
    "ground": "laid on the ground",
}
"""How a tape is held, in words."""


@dataclass(frozen=True, slots=True)
class Remembered:
    """The last choices; empty where there is none."""

    port: str = ""
    instrument: str = ""
    units: str = ""
    tape: str = ""


def _file() -> Path:
    from platformdirs import user_state_path

    return user_state_path("risewalk", appauthor=False) / FILE


def recall() -> Remembered:
    """The last choices; none where they cannot be read."""
    try:
        told = json.loads(_file().read_text(encoding="utf-8"))
        return Remembered(**{f.name: str(told.get(f.name, "")) for f in fields(Remembered)})
    except (OSError, ValueError, AttributeError):
        return Remembered()


def remember(chosen: Remembered) -> None:
    """Keep the last choices; a disk that refuses costs a key tomorrow and nothing today."""
    try:
        _file().parent.mkdir(parents=True, exist_ok=True)
        _file().write_text(json.dumps(asdict(chosen)), encoding="utf-8")
    except OSError as error:
        log.warning("the last choices cannot be kept: %s", error)
