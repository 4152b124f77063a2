"""A virtual instrument: bytes out, bytes in, on a clock that is given. Nothing here waits or opens anything."""

from collections.abc import Mapping

from drivers.simulator.faults import Faults
from drivers.simulator.ground import Ground
from drivers.simulator.hose import Behaviour, Hose, Shown
from drivers.simulator.speech import SPEECHES, Speech

SLOPE = Ground.through(((0.0, 0.0), (2.0, 0.35), (4.5, 0.9), (6.0, 1.0), (9.0, 1.85), (12.0, 2.2)))
"""An invented slope, where none is given."""
LATE_S = 1.0
"""Readings due longer ago than this are not made up for: the program was stopped, not the instrument slow."""


class VirtualInstrument:
    """A level on a ground line that speaks one protocol; `rate_hz` matters for those that talk unasked."""

    def __init__(
        self,
        ground: Ground = SLOPE,
        speak: str = "lines",
        *,
        seed: int = 0,
        rate_hz: float = 10.0,
        behaviour: Behaviour | None = None,
        speeches: Mapping[str, type[Speech]] = SPEECHES,
    ) -> None:
        if speak not in speeches:
            raise ValueError(f"no protocol {speak!r}; there are {', '.join(speeches)}")
        if not 0.01 <= rate_hz <= 100_000:
            raise ValueError("a rate lies between 0.01 and 100000 Hz")
        self.hose = Hose(ground, seed=seed, behaviour=behaviour)
        self.speech = speeches[speak]()
        self.faults = Faults(seed)
        self.period_s = 1.0 / rate_hz
        self._due_s: float | None = None

    @property
    def instrument(self) -> str:
        """Name of the instrument file that fits."""
        return self.speech.instrument

    def wait_s(self, now_s: float) -> float | None:
        """How long until it says something by itself; None if it only answers."""
        if self.speech.asked:
            return None
        return 0.0 if self._due_s is None else max(self._due_s - now_s, 0.0)

    def due(self, now_s: float) -> bytes:
        """What it has said by itself until now, since it was last looked at."""
        if self.speech.asked:
            return b""
        if self._due_s is None or now_s - self._due_s > LATE_S:
            self._due_s = now_s
        said = []
        while self._due_s <= now_s:
            said.append(self.faults.on_bytes(self.speech.say(self._show(self._due_s)), self.speech))
            self._due_s += self.period_s
        return b"".join(said)

    def hear(self, data: bytes, now_s: float) -> bytes:
        """What it answers to bytes it is sent."""
        answer = self.speech.hear(data, lambda: self._show(now_s))
        return self.faults.on_bytes(answer, self.speech) if answer else b""

    def restart(self) -> None:
        """It was unplugged: nothing is owed any more."""
        self._due_s = None

    def _show(self, now_s: float) -> Shown:
        return self.faults.on_reading(self.hose.show(now_s))
