"""The protocols a virtual instrument speaks: what it sends by itself, and what it answers.

Each fits an instrument file of this package, named beside it. Written apart from the decoders, from the same standards.
"""

import re
import struct
from abc import abstractmethod
from collections.abc import Callable

from drivers.fluid import STANDARD_GRAVITY, water_density
from drivers.simulator.hose import Shown

INCH_M = 0.0254


class Speech:
    """One protocol: unasked ones say a reading, asked ones answer what they are sent."""

    instrument = ""
    asked = False
    end = b"\n"
    """What ends anything said, so that garbage before it spoils nothing else."""

    @abstractmethod
    def say(self, shown: Shown) -> bytes:
        """One reading as bytes, as sent unasked."""

    def hear(self, data: bytes, show: Callable[[], Shown]) -> bytes:
        """The answer to bytes that came in; empty for an instrument that only talks."""
        return b""

    def spoil(self, data: bytes) -> bytes:
        """The same with a wrong check, where it carries one; else unchanged."""
        return data


class Lines(Speech):
    """A number and its unit on every line, in hundredths of an inch."""

    instrument = "ascii-lines"

    def say(self, shown: Shown) -> bytes:
        """`+012.34 in`."""
        return f"{shown.height_m / INCH_M:+.2f} in\r\n".encode()


class PressureLines(Speech):
    """The pressure at the end of a water-filled hose, in kilopascals: less, the higher the probe."""

    instrument = "pressure-lines"

    def say(self, shown: Shown) -> bytes:
        """`-7.012 kPa`."""
        return f"{_pressure_pa(shown) / 1000:+.3f} kPa\r\n".encode()


class Nmea(Speech):
    """Altitude, displacement with temperature, and water temperature, as NMEA 0183 sentences."""

    instrument = "nmea-displacement"

    def say(self, shown: Shown) -> bytes:
        """Three sentences of one moment; the displacement in tenths of a millimetre."""
        seconds = shown.t_s % 86400
        clock = f"{int(seconds // 3600):02d}{int(seconds // 60) % 60:02d}{seconds % 60:05.2f}"
        bodies = (
            f"YXMTW,{shown.temperature_c:.1f},C",
            f"GPGGA,{clock},4500.0000,N,00000.0000,E,1,08,1.0,{shown.height_m:.4f},M,0.0,M,,",
            f"YXXDR,D,{shown.height_m:.4f},M,LEVEL,C,{shown.temperature_c:.1f},C,WATER",
        )
        return b"".join(_sentence(body) for body in bodies)

    def spoil(self, data: bytes) -> bytes:
        """The last digit of each checksum changed."""
        return re.sub(rb"(\*.)(.)", lambda m: m[1] + (b"0" if m[2] != b"0" else b"1"), data)


class Frames(Speech):
    """Ten bytes: AA 55, height in hundredths of a millimetre, temperature in hundredths, battery, sum."""

    instrument = "binary-frames"
    end = b""

    def say(self, shown: Shown) -> bytes:
        """One frame."""
        counts = max(-(2**31), min(2**31 - 1, round(shown.height_m * 1e5)))
        body = b"\xaa\x55" + struct.pack(">ihB", counts, round(shown.temperature_c * 100), round(shown.battery))
        return body + bytes([sum(body) & 0xFF])

    def spoil(self, data: bytes) -> bytes:
        """The sum changed."""
        return data[:-1] + bytes([data[-1] ^ 0x01]) if data else data


class Polled(Speech):
    """Answers `R` with height in millimetres, temperature, battery and a flag of rest."""

    instrument = "ascii-polled"
    asked = True

    def __init__(self) -> None:
        self._rest = b""

    def say(self, shown: Shown) -> bytes:
        """`+1234.5 mm +15.0C 87% S`."""
        rest = "S" if shown.stable else "U"
        mm, warm = shown.height_m * 1000, shown.temperature_c
        return f"{mm:+.1f} mm {warm:+.1f}C {shown.battery:.0f}% {rest}\r\n".encode()

    def hear(self, data: bytes, show: Callable[[], Shown]) -> bytes:
        """A reading for each `R` line, an error word for any other."""
        *lines, self._rest = (self._rest + data).replace(b"\r", b"\n").split(b"\n")
        self._rest = self._rest[-64:]
        return b"".join(self.say(show()) if line.strip() == b"R" else b"ERR\r\n" for line in lines if line.strip())


class Scpi(Speech):
    """SCPI: identity, `MEAS?`, and an error queue for what it does not know."""

    instrument = "scpi-height"
    asked = True
    IDENTITY = "Virtual,Level,0,1.0"

    def __init__(self) -> None:
        self._rest = b""
        self._errors: list[str] = []

    def say(self, shown: Shown) -> bytes:
        """A number in metres."""
        return f"{shown.height_m:+.5E}\n".encode()

    def hear(self, data: bytes, show: Callable[[], Shown]) -> bytes:
        """The answers to each line of questions, joined with `;`."""
        *lines, self._rest = (self._rest + data).replace(b"\r", b"\n").split(b"\n")
        self._rest = self._rest[-256:]
        out = b""
        for line in lines:
            answers = [a for q in line.decode("ascii", "replace").split(";") if (a := self._answer(q, show))]
            out += (";".join(answers) + "\n").encode() if answers else b""
        return out

    def _answer(self, question: str, show: Callable[[], Shown]) -> str:
        match question.strip().upper().removeprefix(":"):
            case "":
                return ""
            case "*IDN?":
                return self.IDENTITY
            case "MEAS?" | "MEASURE?" | "READ?" | "FETC?" | "FETCH?":
                return f"{show().height_m:+.5E}"
            case "SYST:ERR?" | "SYSTEM:ERROR?" | "SYST:ERR:NEXT?":
                return self._errors.pop(0) if self._errors else '0,"No error"'
            case _:
                self._errors = [*self._errors, '-113,"Undefined header"'][-20:]
                return ""


class Modbus(Speech):
    """Modbus RTU, unit 1, function 3: a float height in metres from register 0, tenths of a degree in register 2."""

    instrument = "modbus-float"
    asked = True
    end = b""
    unit, function = 1, 3

    def __init__(self) -> None:
        self._rest = b""

    def registers(self, shown: Shown) -> bytes:
        """The registers from 0 on, two bytes each."""
        return struct.pack(">fhH", shown.height_m, round(shown.temperature_c * 10), round(shown.battery))

    def say(self, shown: Shown) -> bytes:
        """The answer to a read of all registers."""
        return self._answer(0, 3, shown)

    def spoil(self, data: bytes) -> bytes:
        """The CRC changed."""
        return data[:-1] + bytes([data[-1] ^ 0x01]) if data else data

    def hear(self, data: bytes, show: Callable[[], Shown]) -> bytes:
        """The answer to each whole question with a right CRC; what is not for us is passed by."""
        buffer, out = self._rest + data, b""
        while len(buffer) >= 8:
            question = buffer[:8]
            if _crc(question[:6]) != question[6:]:
                buffer = buffer[1:]
                continue
            buffer = buffer[8:]
            unit, function, first, count = struct.unpack(">BBHH", question[:6])
            if unit != self.unit:
                continue
            out += self._answer(first, count, show()) if function == self.function else self._exception(function, 1)
        self._rest = buffer
        return out

    def _answer(self, first: int, count: int, shown: Shown) -> bytes:
        held = self.registers(shown)
        if not 1 <= count <= 125:
            return self._exception(self.function, 3)
        if 2 * (first + count) > len(held):
            return self._exception(self.function, 2)
        body = bytes([self.unit, self.function, 2 * count]) + held[2 * first : 2 * (first + count)]
        return body + _crc(body)

    def _exception(self, function: int, code: int) -> bytes:
        body = bytes([self.unit, function | 0x80, code])
        return body + _crc(body)


class PressureModbus(Modbus):
    """Modbus RTU, unit 1, function 4: a float pressure in pascals, low word first."""

    instrument = "pressure-modbus"
    function = 4

    def registers(self, shown: Shown) -> bytes:
        """The pressure, its two words exchanged."""
        word = struct.pack(">f", _pressure_pa(shown))
        return word[2:] + word[:2]


SPEECHES: dict[str, type[Speech]] = {
    "lines": Lines,
    "polled": Polled,
    "nmea0183": Nmea,
    "scpi": Scpi,
    "modbus": Modbus,
    "frames": Frames,
    "pressure": PressureLines,
    "pressure-modbus": PressureModbus,
}


def _pressure_pa(shown: Shown) -> float:
    return -shown.height_m * water_density(15.0) * STANDARD_GRAVITY


def _sentence(body: str) -> bytes:
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}\r\n".encode()


def _crc(data: bytes) -> bytes:
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return struct.pack("<H", value)
