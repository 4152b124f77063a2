"""What can go wrong between an instrument and a reading.

    DriverError
    ├── LengthError              a length, slope or other quantity a person wrote cannot be read
    ├── InstrumentFileError      an instrument file is unreadable or wrong; carries every mistake
    └── PortError                the line to the instrument; carries the port
        ├── PortMissing          nothing by that name is plugged in
        ├── PortBusy             somebody else holds it
        ├── PortDenied           the system does not let this user open it
        ├── PortSilent           open, and nothing was heard in time
        ├── RadioMissing         this computer has no Bluetooth, or its service does not run
        ├── RadioOff             Bluetooth is switched off
        └── PortLost             it was live and went away

Every message is a sentence a person on a slope can act on.
"""


class DriverError(Exception):
    """Root of what `drivers` raises."""


class LengthError(DriverError, ValueError):
    """A quantity a person wrote cannot be read; `text` is what was written."""

    def __init__(self, text: str, why: str) -> None:
        super().__init__(f"{text!r} cannot be read: {why}" if text.strip() else f"nothing written: {why}")
        self.text = text


class InstrumentFileError(DriverError):
    """An instrument file is wrong; `mistakes` holds every one as `path: what is wrong`."""

    def __init__(self, source: str, mistakes: list[str]) -> None:
        super().__init__(f"{source}: " + "; ".join(mistakes))
        self.source = source
        self.mistakes = mistakes


class PortError(DriverError):
    """The line to the instrument failed; `port` is the port string."""

    def __init__(self, port: str, what_to_do: str) -> None:
        super().__init__(f"{port}: {what_to_do}")
        self.port = port


class PortMissing(PortError):
    """Nothing by that name is plugged in or advertising."""


class PortBusy(PortError):
    """Another program holds the port."""


class PortDenied(PortError):
    """The system does not let this user open the port."""


class PortSilent(PortError):
    """The port opened and nothing was heard in time."""


class RadioMissing(PortError):
    """This computer has no Bluetooth adapter, or the service behind it does not run."""


class RadioOff(PortError):
    """Bluetooth is switched off."""


class PortLost(PortError):
    """The port was live and went away."""
