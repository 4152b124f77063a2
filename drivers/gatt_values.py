"""What the bytes of Bluetooth LE characteristics and descriptors mean: pure functions, no radio.

    characteristic value --PresentationFormat--> number in a named unit
    +--------+----------+---------------+-----------+---------------+
    | format | exponent | unit          | namespace | description   |   Presentation Format 0x2904, 7 octets
    | u8     | s8       | u16           | u8        | u16           |
    +--------+----------+---------------+-----------+---------------+
    +-------+----------+--------+-----------------+-------------+-------------+
    | flags | sampling | period | update interval | application | uncertainty |   ES Measurement 0x290C, 11 octets
    | u16   | u8       | u24 s  | u24 s           | u8          | u8, 0.5 %   |
    +-------+----------+--------+-----------------+-------------+-------------+

All little-endian. Numbers and layouts: Bluetooth SIG, Assigned Numbers and GATT Specification Supplement (read
as the YAML files that the SIG publishes); the 11 octets of ES Measurement after the Environmental Sensing sample
of the Zephyr project; its codes, the 0.5 % of the uncertainty and 0xFF for "not known" as several open firmwares have
them alike. That this share counts from the value itself is from memory.
"""

import math
import re
import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

BASE_UUID = "-0000-1000-8000-00805f9b34fb"

ENVIRONMENTAL_SENSING = "181a"
BATTERY_LEVEL = "2a19"
ELEVATION = "2a6c"
PRESSURE = "2a6d"
TEMPERATURE = "2a6e"
DESCRIPTOR_VALUE_CHANGED = "2a7d"
USER_DESCRIPTION = "2901"
PRESENTATION_FORMAT = "2904"
ES_MEASUREMENT = "290c"
ES_TRIGGER = "290d"

DEVICE_FACTS = {
    "2a29": "manufacturer",
    "2a24": "model",
    "2a25": "serial number",
    "2a27": "hardware",
    "2a26": "firmware",
    "2a28": "software",
}
"""Text characteristics of Device Information 0x180A, in words."""


UUID = re.compile(r"(?:0x)?[0-9a-f]{4}|[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)


def is_uuid(text: str) -> bool:
    """Whether a text is a 16-bit number or a whole UUID."""
    return UUID.fullmatch(text.strip()) is not None


def short_uuid(uuid: str) -> str:
    """Four lower-case digits for a number the SIG assigned, else the whole identifier in lower case."""
    lower = uuid.strip().lower().removeprefix("0x")
    if len(lower) == 36 and lower.endswith(BASE_UUID) and lower.startswith("0000"):
        return lower[4:8]
    return lower


def long_uuid(uuid: str) -> str:
    """The 128-bit form of an identifier, as the operating systems write it."""
    short = short_uuid(uuid)
    return f"0000{short}{BASE_UUID}" if len(short) == 4 else short


class Format(IntEnum):
    """Format codes of the Presentation Format descriptor that can hold a measured number."""

    UINT8 = 0x04
    UINT16 = 0x06
    UINT24 = 0x07
    UINT32 = 0x08
    UINT48 = 0x09
    UINT64 = 0x0A
    SINT8 = 0x0C
    SINT16 = 0x0E
    SINT24 = 0x0F
    SINT32 = 0x10
    SINT48 = 0x11
    SINT64 = 0x12
    FLOAT32 = 0x14
    FLOAT64 = 0x15
    MEDFLOAT16 = 0x16
    MEDFLOAT32 = 0x17
    UTF8S = 0x19


NumberType = Literal[
    "",
    "uint8",
    "uint16",
    "uint24",
    "uint32",
    "uint48",
    "uint64",
    "sint8",
    "sint16",
    "sint24",
    "sint32",
    "sint48",
    "sint64",
    "float32",
    "float64",
    "medfloat16",
    "medfloat32",
    "utf8s",
]
"""The formats by the short names the SIG gives them; empty where the device tells."""

INTEGER_OCTETS = {
    Format.UINT8: 1,
    Format.UINT16: 2,
    Format.UINT24: 3,
    Format.UINT32: 4,
    Format.UINT48: 6,
    Format.UINT64: 8,
    Format.SINT8: 1,
    Format.SINT16: 2,
    Format.SINT24: 3,
    Format.SINT32: 4,
    Format.SINT48: 6,
    Format.SINT64: 8,
}
FIRST_SIGNED = Format.SINT8

UNITS = {
    0x2701: "m",
    0x27A0: "yd",
    0x27A2: "in",
    0x27A3: "ft",
    0x2724: "Pa",
    0x2780: "bar",
    0x2781: "mmHg",
    0x27A5: "psi",
    0x2705: "K",
    0x272F: "degC",
    0x27AC: "degF",
}
"""Units of length, pressure and temperature by their assigned number, as `drivers.quantities` names them."""
UNITLESS = (0x0000, 0x2700)
"""No unit is told: that of the instrument file counts."""


class NotThisLayout(ValueError):
    """The octets are too few, too many, or of a format that holds no number."""


@dataclass(frozen=True, slots=True)
class PresentationFormat:
    """How the octets of a characteristic become a number: `raw * 10**exponent` of a unit.

    The exponent counts for whole numbers only; the floating formats carry their own. A `unit` that is none of UNITS is
    given by its number, and None where the device names none.
    """

    format: Format
    exponent: int
    unit: str | None

    @classmethod
    def parse(cls, data: bytes) -> "PresentationFormat":
        """Read descriptor 0x2904; NotThisLayout unless it is 7 octets of a format that holds a number."""
        if len(data) != 7:
            raise NotThisLayout(f"a presentation format has 7 octets, not {len(data)}")
        code, exponent, unit, _, _ = struct.unpack("<BbHBH", data)
        try:
            known = Format(code)
        except ValueError:
            raise NotThisLayout(f"presentation format 0x{code:02X} holds no number") from None
        named = None if unit in UNITLESS else UNITS.get(unit, f"unit 0x{unit:04X}")
        return cls(known, exponent if known in INTEGER_OCTETS else 0, named)

    @classmethod
    def of(cls, kind: NumberType) -> "PresentationFormat":
        """A number of this type in the unit of the instrument file."""
        return cls(Format[kind.upper()], 0, None)

    @property
    def step(self) -> float | None:
        """The least difference two values can have, in the unit; None where the format is a floating one."""
        return 10.0**self.exponent if self.format in INTEGER_OCTETS else None

    def number(self, data: bytes) -> float:
        """The value in the unit; NaN where the format has a way to say "none"; NotThisLayout for a wrong length."""
        if self.format in INTEGER_OCTETS:
            if len(data) != INTEGER_OCTETS[self.format]:
                raise NotThisLayout(f"{self.format.name.lower()} has {INTEGER_OCTETS[self.format]} octets")
            raw = int.from_bytes(data, "little", signed=self.format >= FIRST_SIGNED)
            return raw / 10**-self.exponent if self.exponent < 0 else float(raw * 10**self.exponent)
        try:
            return _floating(self.format, data)
        except (struct.error, ValueError, UnicodeDecodeError) as error:
            raise NotThisLayout(f"not a {self.format.name.lower()}: {error}") from None


FIXED_FORMATS = {
    ELEVATION: PresentationFormat.parse(bytes.fromhex("0FFE0127010000")),
    PRESSURE: PresentationFormat.parse(bytes.fromhex("08FF2427010000")),
    TEMPERATURE: PresentationFormat.parse(bytes.fromhex("0EFE2F27010000")),
}
"""What the GATT Specification Supplement fixes: Elevation in 0.01 m, Pressure in 0.1 Pa, Temperature in 0.01 °C."""

TEMPERATURE_UNKNOWN = b"\x00\x80"
TEMPERATURE_RANGE_C = (-273.15, 327.67)


def temperature_c(data: bytes) -> float | None:
    """Temperature 0x2A6E in °C; None for the octets that mean "not known"; NotThisLayout for what is prohibited."""
    if bytes(data) == TEMPERATURE_UNKNOWN:
        return None
    value = FIXED_FORMATS[TEMPERATURE].number(data)
    if not TEMPERATURE_RANGE_C[0] <= value <= TEMPERATURE_RANGE_C[1]:
        raise NotThisLayout(f"{value} °C is prohibited")
    return value


def battery_percent(data: bytes) -> float:
    """Battery Level 0x2A19 in per cent of full; NotThisLayout for the reserved values above 100."""
    if len(data) != 1 or data[0] > 100:
        raise NotThisLayout("a battery level is one octet up to 100 %")
    return float(data[0])


@dataclass(frozen=True, slots=True)
class EsMeasurement:
    """How an environmental value is taken (descriptor 0x290C).

    `application` is what it belongs to, empty if unspecified; `uncertainty` is the most that the value may be off, as a
    share of it, None if not known.
    """

    sampling: str
    period_s: int | None
    update_s: int | None
    application: str
    uncertainty: float | None

    @classmethod
    def parse(cls, data: bytes) -> "EsMeasurement":
        """Read the 11 octets; NotThisLayout for any other number of them."""
        if len(data) != 11:
            raise NotThisLayout(f"an ES measurement has 11 octets, not {len(data)}")
        period, update = (int.from_bytes(data[i : i + 3], "little") for i in (3, 6))
        return cls(
            sampling=SAMPLING[data[2]] if data[2] < len(SAMPLING) else "reserved",
            period_s=period or None,
            update_s=update or None,
            application=APPLICATIONS[data[9]] if data[9] < len(APPLICATIONS) else f"code 0x{data[9]:02X}",
            uncertainty=None if data[10] == 0xFF else data[10] * 0.005,
        )


SAMPLING = (
    "unspecified",
    "instantaneous",
    "arithmetic mean",
    "root mean square",
    "maximum",
    "minimum",
    "accumulated",
    "count",
)
"""Sampling functions in the order of their codes."""
APPLICATIONS = (
    "",
    "air",
    "water",
    "barometric",
    "soil",
    "infrared",
    "map",
    "barometric elevation",
    "satellite elevation",
    "satellite and map elevation",
    "vertical datum",
    "onshore",
    "vehicle",
    "front",
    "back",
    "upper",
    "lower",
    "primary",
    "secondary",
    "outdoor",
    "indoor",
    "top",
    "bottom",
    "main",
    "backup",
    "auxiliary",
    "supplementary",
    "inside",
    "outside",
    "left",
    "right",
    "internal",
    "external",
    "solar",
)
"""What a sensor belongs to, in the order of the codes."""
ROUGH_SOURCES = APPLICATIONS[6:10]
"""Where heights come from that no steps can be set out by."""


def changed_characteristic(data: bytes) -> str:
    """The characteristic that Descriptor Value Changed 0x2A7D names (2 or 16 octets after 2 of flags)."""
    name = bytes(data[2:])
    if len(name) == 2:
        return f"{int.from_bytes(name, 'little'):04x}"
    if len(name) == 16:
        digits = name[::-1].hex()
        return short_uuid("-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:])))
    raise NotThisLayout(f"descriptor value changed has 4 or 18 octets, not {len(data)}")


def _floating(kind: Format, data: bytes) -> float:
    match kind:
        case Format.FLOAT32:
            return float(struct.unpack("<f", data)[0])
        case Format.FLOAT64:
            return float(struct.unpack("<d", data)[0])
        case Format.MEDFLOAT16:
            return _medical(data, exponent_bits=4, mantissa_bits=12)
        case Format.MEDFLOAT32:
            return _medical(data, exponent_bits=8, mantissa_bits=24)
        case _:
            return float(data.decode("utf-8").strip("\x00 ").replace(",", "."))


def _medical(data: bytes, *, exponent_bits: int, mantissa_bits: int) -> float:
    """IEEE 11073-20601 floats: two's complement exponent of ten above the mantissa; five mantissas are words."""
    if len(data) * 8 != exponent_bits + mantissa_bits:
        raise ValueError(f"{len(data)} octets")
    raw = int.from_bytes(data, "little")
    exponent = _signed(raw >> mantissa_bits, exponent_bits)
    mantissa = _signed(raw & ((1 << mantissa_bits) - 1), mantissa_bits)
    half = 1 << (mantissa_bits - 1)
    if exponent == 0 and (mantissa >= half - 2 or mantissa <= 2 - half):
        return math.nan
    return mantissa / 10**-exponent if exponent < 0 else float(mantissa * 10**exponent)


def _signed(value: int, bits: int) -> int:
    return value - (1 << bits) if value >> (bits - 1) else value
