"""Decoders: second link of the flow, `Chunk -> readings`. They do no input or output and never raise on noise.

A decoder is fed the chunks of one link in the order they arrived, keeps a bounded buffer of what is not yet
whole, finds its way back after junk, and counts why it refused what it refused.
"""

import math
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from drivers.reading import Chunk, Reading, Reject

if TYPE_CHECKING:
    from drivers.scale import Scale


class Decoder(Protocol):
    """What every decoder offers. The same chunks give the same readings, whatever was asked in between."""

    rejects: Counter[Reject]
    remarks: list[str]
    """What the instrument said of itself (its identity, its errors), latest last, at most a few."""

    def feed(self, chunk: Chunk) -> Sequence[Reading]:
        """The readings this chunk completed; see `drivers.readings.Readings` for the columns behind them."""

    def reset(self) -> None:
        """The link had a gap: nothing kept may be joined with what comes next."""

    def request(self) -> bytes | None:
        """What to send to get the next reading; None where the instrument talks unasked."""


class BaseDecoder:
    """The counters every decoder has, and the answer of one that need not ask."""

    REMARKS = 8
    resolution_m = 0.0
    """Least step of the height as the instrument itself tells it, in metres; 0 where it does not."""
    scale_u = 0.0
    """Standard uncertainty of the height as the instrument itself tells it, per metre; 0 where it does not."""

    def __init__(self) -> None:
        self.rejects: Counter[Reject] = Counter()
        self.remarks: list[str] = []
        self.facts: dict[str, str] = {}
        """What the instrument says it is: maker, model, serial number …"""

    def request(self) -> bytes | None:
        """Nothing to ask."""
        return None

    def judged(self, height_m: float | None, scale: "Scale") -> float | None:
        """A height that may be one; of any other it is counted why not. None stands for a unit that is no height."""
        if height_m is None:
            self.rejects[Reject.UNIT] += 1
        elif not math.isfinite(height_m):
            self.rejects[Reject.NOT_A_NUMBER] += 1
        elif not scale.sane(height_m):
            self.rejects[Reject.RANGE] += 1
        else:
            return height_m
        return None

    def remark(self, text: str) -> None:
        """Keep what the instrument said, once."""
        if text not in self.remarks:
            self.remarks.append(text)
            del self.remarks[: -self.REMARKS]
