"""What a recorder is started with."""

import platform
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from drivers.instrument import InstrumentFile
from drivers.lengths import Units
from logger.observation import Tape
from logger.session.derive import WAY
from logger.session.events import program_version

TIMEOUT_S = 15.0


def whole_text(instrument: InstrumentFile) -> str:
    """An instrument file with every default written out, so that its data mean the same when defaults have changed."""
    import tomli_w

    return tomli_w.dumps(instrument.model_dump(by_alias=True, exclude_none=True, mode="json"))


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the instrument is, what it is, what a bare number means, how the tape is held."""

    port: str
    instrument: InstrumentFile
    job: str = ""
    units: Units = Units.METRES
    tape: Tape = Tape.LEVEL
    timeout_s: float = TIMEOUT_S

    @property
    def instrument_text(self) -> str:
        """The instrument file as it is kept with the data."""
        return whole_text(self.instrument)

    @property
    def instrument_digest(self) -> str:
        """SHA-256 of that text."""
        return sha256(self.instrument_text.encode()).hexdigest()

    def opened(self, *, resumed: bool, gap: bool) -> dict[str, Any]:
        """The body of the event that stands before any data these settings are used for."""
        return {
            "program": program_version(),
            "way": WAY,
            "system": f"{platform.system()} {platform.machine()}, Python {platform.python_version()}",
            "job": self.job,
            "units": str(self.units),
            "tape": str(self.tape),
            "port": self.port,
            "instrument": {
                "name": self.instrument.instrument.name,
                "text": self.instrument_text,
                "sha256": self.instrument_digest,
            },
            "resumed": resumed,
            "gap": gap,
        }
