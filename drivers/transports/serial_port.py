"""Everything pyserial opens: a cable, a USB adapter, a pseudo-terminal, a socket, a remote serial server.

A thread reads chunks as they come and stamps them; it waits for nothing but the port, so a stalled screen or disk
never costs a byte. Closing wakes it, joins it, and only then closes the port.
"""

import asyncio
import os
import select
import threading
import time
from collections.abc import AsyncIterator, Callable
from contextlib import suppress

import serial

from drivers.errors import PortError, PortLost, PortMissing
from drivers.instrument import InstrumentFile
from drivers.quantities import quantity
from drivers.reading import Chunk
from drivers.tables import SerialTable
from drivers.transports.arrivals import Arrivals
from drivers.transports.blocking import blocking
from drivers.transports.serial_faults import port_error

READ = 65536
POLL_S = 0.1
"""Longest wait of a port that cannot be woken."""
WRITE_S = 2.0
CLOSING_S = 0.1
"""How long a port that takes its time to close is waited for; it goes on by itself (pyserial sleeps for a socket)."""
PARITY = {"none": "N", "even": "E", "odd": "O", "mark": "M", "space": "S"}


def open_serial(port: str, table: SerialTable) -> serial.Serial:
    """Open a port as the instrument file says; PortError with what to do. May block while the system tries."""
    try:
        line: serial.Serial = serial.serial_for_url(port, do_not_open=True, timeout=POLL_S)
        _apply(line, table)
        if "://" not in port:
            line.write_timeout = WRITE_S
            line.exclusive = True
        if table.dtr is not None:
            line.dtr = table.dtr
        if table.rts is not None:
            line.rts = table.rts
        line.open()
    except Exception as error:  # what is wrong with an address, pyserial says in many ways
        raise port_error(port, error) from error
    return line


def _apply(line: serial.Serial, table: SerialTable) -> None:
    line.baudrate = table.baud
    line.bytesize = table.bits
    line.parity = PARITY[table.parity]
    line.stopbits = table.stop
    line.rtscts = table.flow == "rtscts"
    line.dsrdtr = table.flow == "dsrdtr"
    line.xonxoff = table.flow == "xonxoff"


def _mask(table: SerialTable) -> bytes | None:
    """What takes a parity bit out of bytes of fewer than eight bits, where the line did not; None for eight."""
    return None if table.bits == 8 else bytes(byte & (1 << table.bits) - 1 for byte in range(256))


class SerialTransport:
    """One serial port."""

    def __init__(self, port: str, instrument: InstrumentFile, clock: Callable[[], float] = time.monotonic) -> None:
        self.port = port
        self._table = instrument.serial
        self._clock = clock
        self._line: serial.Serial | None = None
        self._arrivals: Arrivals | None = None
        self._reader: threading.Thread | None = None
        self._mask = _mask(instrument.serial)
        self._stop = threading.Event()
        self._wake: tuple[int, int] | None = None

    async def open(self) -> None:
        """Open the port in a thread of its own, so that one that blocks can be given up at once."""
        loop = asyncio.get_running_loop()
        self._line = await blocking(lambda: open_serial(self.port, self._table), late=lambda line: line.close())
        self._arrivals = Arrivals(loop)
        target = self._read_polled
        fd = self._descriptor()
        if fd is not None:
            self._wake = os.pipe()
            target = self._read_descriptor
        self._reader = threading.Thread(target=target, name=f"read {self.port}", daemon=True)
        self._reader.start()
        wait_s = quantity(self._table.wait, "s")
        if wait_s:
            await asyncio.sleep(wait_s)

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Bytes as they arrive; PortLost when the port goes away."""
        if self._arrivals is None:
            raise PortMissing(self.port, "it is not open")
        async for chunk in self._arrivals:
            yield chunk

    async def adjust(self, table: SerialTable) -> None:
        """Take other serial settings while open; bytes that came with the old ones are dropped."""
        if self._line is None:
            raise PortLost(self.port, "it is not open")
        try:
            _apply(self._line, table)
            self._line.reset_input_buffer()
        except (serial.SerialException, OSError, ValueError) as error:
            raise port_error(self.port, error) from error
        self._mask = _mask(table)

    async def write(self, data: bytes) -> None:
        """Send bytes, in a thread where the port may block."""
        line = self._line
        if line is None:
            raise PortLost(self.port, "it is not open")
        try:
            await blocking(lambda: line.write(data))
        except (serial.SerialException, OSError, TypeError) as error:
            raise PortLost(self.port, f"nothing can be sent: {error}") from error

    async def close(self) -> None:
        """Stop the reader, then let the port go."""
        self._stop.set()
        if self._wake is not None:
            os.write(self._wake[1], b".")
        reader, self._reader = self._reader, None
        if reader is not None:
            await blocking(lambda: reader.join(1.0))
        if self._arrivals is not None:
            self._arrivals.end()
        line, self._line = self._line, None
        if line is not None:
            with suppress(TimeoutError, serial.SerialException, OSError, TypeError):
                async with asyncio.timeout(CLOSING_S):
                    await blocking(line.close)
        if self._wake is not None:
            for fd in self._wake:
                os.close(fd)
            self._wake = None

    def _put(self, data: bytes) -> None:
        assert self._arrivals is not None
        self._arrivals.put(Chunk(self._clock(), data if self._mask is None else data.translate(self._mask)))

    def _descriptor(self) -> int | None:
        if os.name != "posix" or ("://" in self.port and not self.port.lower().startswith("socket://")):
            return None
        try:
            fd = self._line.fileno() if self._line is not None else None
        except (AttributeError, OSError, NotImplementedError, ValueError):
            return None
        return fd if isinstance(fd, int) and fd >= 0 else None

    def _read_descriptor(self) -> None:
        assert self._arrivals is not None
        assert self._wake is not None
        fd, wake = self._descriptor(), self._wake[0]
        assert fd is not None
        lost: PortError | None = None
        poll = select.poll()
        poll.register(fd, select.POLLIN)
        poll.register(wake, select.POLLIN)
        while lost is None and not self._stop.is_set():
            if fd not in {number for number, _ in poll.poll()}:
                continue
            try:
                data = os.read(fd, READ)
            except BlockingIOError:
                continue
            except OSError as error:
                lost = PortLost(self.port, f"the instrument was unplugged or the line was cut ({error.strerror})")
                break
            if data:
                self._put(data)
            else:
                lost = PortLost(self.port, "the line was cut")
        self._arrivals.end(lost)

    def _read_polled(self) -> None:
        assert self._arrivals is not None
        line, lost = self._line, None
        assert line is not None
        try:
            while not self._stop.is_set():
                data = line.read(min(max(line.in_waiting, 1), READ))
                if data:
                    self._put(data)
        except (serial.SerialException, OSError, TypeError, AttributeError) as error:
            lost = PortLost(self.port, f"the instrument was unplugged or the line was cut ({error})")
        self._arrivals.end(lost)
