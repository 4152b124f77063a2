"""Transports: first link of the flow, bytes in and out of one port. They never parse, and name their own failures."""

from collections.abc import AsyncIterator
from typing import Protocol

from drivers.reading import Chunk


class Transport(Protocol):
    """One line to an instrument, opened once and closed once."""

    async def open(self) -> None:
        """Open the port; PortMissing, PortBusy or PortDenied say why not. Cancelling it is always quick."""

    def chunks(self) -> AsyncIterator[Chunk]:
        """Bytes as they arrive, stamped on arrival; PortLost when the line goes away. Ends once closed."""

    async def write(self, data: bytes) -> None:
        """Send bytes; PortLost if the line is gone."""

    async def close(self) -> None:
        """Let the port go; harmless if it is not open."""
