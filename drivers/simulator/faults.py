"""What goes wrong with a virtual instrument on demand, each with its own chance for every reading."""

import random
from dataclasses import replace
from enum import StrEnum

from drivers.simulator.hose import Shown
from drivers.simulator.speech import Speech


class Fault(StrEnum):
    """What can be made to go wrong."""

    DROP_OUT = "drop-out"
    GARBAGE = "garbage"
    CHECKSUM = "checksum"
    SPIKE = "spike"
    DUPLICATE = "duplicate"
    BATTERY = "battery"


SPIKE_M = (0.05, 2.0)
GARBAGE_BYTES = 24
BATTERY_STEP = 1.0
"""Per cent of battery that one reading costs once it is dying."""


class Faults:
    """Chances of faults, 0 to 1, and what they do to readings and bytes; seeded."""

    def __init__(self, seed: int = 0) -> None:
        self._random = random.Random(seed ^ 0x5EED)
        self.chances: dict[Fault, float] = {}
        self.counts: dict[Fault, int] = dict.fromkeys(Fault, 0)
        self._battery: float | None = None

    def set(self, fault: Fault, chance: float) -> None:
        """How likely a fault is for each reading from now on; ValueError outside 0 to 1."""
        if not 0 <= chance <= 1:
            raise ValueError("a chance lies between 0 and 1")
        self.chances[fault] = chance

    def on_reading(self, shown: Shown) -> Shown:
        """A reading, perhaps with a spike, perhaps from a dying battery."""
        if self._happens(Fault.SPIKE):
            low, high = SPIKE_M
            spike = self._random.uniform(low, high) * self._random.choice((-1, 1))
            shown = replace(shown, height_m=shown.height_m + spike)
        if self._happens(Fault.BATTERY):
            self._battery = max((shown.battery if self._battery is None else self._battery) - BATTERY_STEP, 0.0)
        return shown if self._battery is None else replace(shown, battery=self._battery)

    def on_bytes(self, data: bytes, speech: Speech) -> bytes:
        """What is sent, perhaps nothing, spoilt, doubled, or with garbage before it."""
        if self._battery == 0.0 or self._happens(Fault.DROP_OUT):
            return b""
        if self._happens(Fault.CHECKSUM):
            data = speech.spoil(data)
        if self._happens(Fault.DUPLICATE):
            data += data
        if self._happens(Fault.GARBAGE):
            data = self._random.randbytes(self._random.randint(1, GARBAGE_BYTES)) + speech.end + data
        return data

    def _happens(self, fault: Fault) -> bool:
        chance = self.chances.get(fault, 0.0)
        happens = chance > 0 and self._random.random() < chance
        self.counts[fault] += happens
        return happens
