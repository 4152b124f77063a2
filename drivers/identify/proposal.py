"""What a stream was taken for: an instrument file, how sure that is, and why."""

from dataclasses import dataclass, field
from typing import Any

from drivers.errors import InstrumentFileError
from drivers.instrument import InstrumentFile, from_tables

UNSURE = 0.5
"""Below this a proposal is a guess, and is shown as one."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading of a stream; `instrument` is None where only its kind is recognised."""

    confidence: float
    reasons: tuple[str, ...]
    tables: dict[str, Any] = field(default_factory=dict)

    @property
    def instrument(self) -> InstrumentFile | None:
        """The proposed instrument file."""
        if not self.tables:
            return None
        try:
            return from_tables(self.tables, "proposal")
        except InstrumentFileError:
            return None


def best_first(candidates: list[Candidate]) -> list[Candidate]:
    """The surest first, of equal ones the earlier."""
    return sorted(candidates, key=lambda c: -c.confidence)
