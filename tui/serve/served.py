"""What an app process is told by the server that starts it."""

import dataclasses
import json
import os
from pathlib import Path

from tui.walking.opening import Opening


@dataclasses.dataclass(frozen=True, slots=True)
class Served:
    """The walk, and what may be done with it from a browser."""

    opening: Opening
    brief: Path | None
    dark: bool
    control: bool

    def words(self) -> list[str]:
        """As an argument of the process."""
        return [json.dumps(dataclasses.asdict(self), default=os.fspath)]

    @classmethod
    def of(cls, word: str) -> "Served":
        """Out of that argument."""
        told = json.loads(word)
        opening = told.pop("opening")
        opening["session"] = Path(opening["session"])
        brief = told.pop("brief")
        return cls(Opening(**opening), brief and Path(brief), **told)
