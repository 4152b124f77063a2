"""The tables of an instrument file, as pydantic models: every field a person may write, with its meaning.

Texts with a unit stay as they were written; `drivers.instrument` gives them in SI.
"""

import math
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    field_validator,
    model_validator,
)

from drivers.gatt_values import NumberType, is_uuid, short_uuid
from drivers.quantities import quantity


class Table(BaseModel):
    """A table of the file: unknown fields are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def _as_text(value: object) -> object:
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    return repr(value) if plain else value


def _duration(text: str) -> str:
    if not 0 <= quantity(text, "s") < math.inf:
        raise ValueError("a duration is not negative")
    return text


def _lasting(text: str) -> str:
    if quantity(text, "s") == 0:
        raise ValueError("it must last; write a duration such as 1 s")
    return text


def _uuid(text: str) -> str:
    if text and not is_uuid(text):
        raise ValueError("write a 16-bit number such as 2A6C, or a whole UUID")
    return short_uuid(text)


def _factor(value: float) -> float:
    if value == 0 or not math.isfinite(value):
        raise ValueError("a scale is a number other than 0")
    return value


Text = Annotated[str, BeforeValidator(_as_text)]
"""A quantity with its unit; a bare number is accepted and is in the unit the field says."""
Duration = Annotated[str, BeforeValidator(_as_text), AfterValidator(_duration)]
Lasting = Annotated[Duration, AfterValidator(_lasting)]
"""A duration longer than none."""
Factor = Annotated[float, AfterValidator(_factor)]
Uuid = Annotated[str, AfterValidator(_uuid)]
"""What the Bluetooth SIG or a maker numbers services and characteristics with."""


class NameTable(Table):
    """What the instrument is called."""

    name: str = Field(min_length=1, max_length=80, description="What people call it.")
    notes: str = Field("", description="Anything worth knowing before it is used.")


class SerialTable(Table):
    """The serial line."""

    baud: int = Field(9600, ge=50, le=4_000_000, description="Bits a second.")
    bits: Literal[5, 6, 7, 8] = Field(8, description="Data bits.")
    parity: Literal["none", "even", "odd", "mark", "space"] = Field("none", description="Parity bit.")
    stop: float = Field(1, description="Stop bits: 1, 1.5 or 2.")
    flow: Literal["none", "rtscts", "dsrdtr", "xonxoff"] = Field("none", description="Flow control.")
    dtr: bool | None = Field(None, description="Level of DTR while open; raised if not given.")
    rts: bool | None = Field(None, description="Level of RTS while open; raised if not given.")
    wait: Duration = Field("0 s", description="Pause after opening, for boards that start anew when opened.")
    silence: Lasting = Field("5 s", description="Nothing heard for this long means that the line is lost.")

    @field_validator("stop")
    @classmethod
    def _possible(cls, stop: float) -> float:
        if stop not in (1, 1.5, 2):
            raise ValueError("stop bits are 1, 1.5 or 2")
        return stop


class AskTable(Table):
    """How to ask an instrument that does not talk by itself."""

    send: str = Field("", description="Text sent for each reading; scpi and modbus make their own.")
    every: Duration = Field("0.2 s", description="Time between two questions.")
    timeout: Duration = Field("1 s", description="How long an answer is waited for before asking again.")


class CheckTable(Table):
    """A check that each line or frame carries."""

    kind: Literal["xor", "sum", "sum-negated", "crc16", "crc16-ccitt"] = Field(description="How it is computed.")
    from_: str | int = Field(
        0, alias="from", description="Text the check starts after, or a position (0 is the start)."
    )
    to: str | int = Field(-1, description="Text the check ends before, or a position; the check itself follows it.")
    written: Literal["hex", "decimal", "binary"] = Field("hex", description="How the check is written in the line.")


class LinesTable(Table):
    """One reading a line of text."""

    kind: Literal["lines"] = "lines"
    pattern: str = Field("", description="Regular expression searched for; groups height, sign, unit, temperature …")
    columns: dict[str, tuple[int, int]] = Field({}, description="Instead of a pattern: first and end column of fields.")
    delimiter: str = Field("", description="What ends a line; CR, LF or CRLF if not given.")
    check: CheckTable | None = Field(None, description="A check carried by each line.")
    refuse: list[str] = Field([], description="Words that make a line no reading: over-range, errors.")
    stable: list[str] = Field(["S", "ST", "1", "OK"], description="What the group `stable` says when at rest.")
    number: Literal["decimal", "hex", "feet-inches"] = Field(
        "decimal", description="How the height is written; `4'-3 1/4\"` is feet-inches, in inches."
    )
    thousands: Literal["", ",", ".", "'", " "] = Field("", description="What stands between thousands, if anything.")
    bits: Literal[8, 16, 24, 32] | None = Field(None, description="Of a hex number with a sign: its width.")

    @model_validator(mode="after")
    def _pattern_or_columns(self) -> "LinesTable":
        if bool(self.pattern) == bool(self.columns):
            raise ValueError("give either a pattern or columns")
        from drivers.decoders.pattern import check_pattern

        if self.pattern:
            check_pattern(self.pattern)
        elif "height" not in self.columns:
            raise ValueError("columns must tell where the height stands")
        if unknown := set(self.columns) - {"height", "sign", "unit", "temperature", "battery", "stable"}:
            raise ValueError(f"columns do not know {', '.join(sorted(unknown))}")
        if empty := [name for name, (first, end) in self.columns.items() if not 0 <= first < end]:
            raise ValueError(f"{', '.join(empty)}: columns count from 0, the first before the end")
        return self


class NmeaTable(Table):
    """NMEA 0183 sentences."""

    kind: Literal["nmea0183"] = "nmea0183"
    sentence: Literal["GGA", "DPT", "DBT", "XDR"] = Field("GGA", description="Which sentence holds the height.")
    transducer: str = Field("", description="XDR: name or type letter of the transducer with the height.")
    talker: str = Field(
        "", pattern=r"^([A-Z][A-Z0-9])?$", description="Only sentences of this talker (two capital letters)."
    )
    checksum: Literal["required", "optional"] = Field("required", description="Whether a sentence without one counts.")


class ScpiTable(Table):
    """SCPI over IEEE 488.2: asked, answered in a line."""

    kind: Literal["scpi"] = "scpi"
    query: str = Field("MEAS?", min_length=1, description="What is asked for each reading; several joined with `;`.")
    field: int = Field(0, ge=0, le=31, description="Which of several answers is the height.")
    temperature: int | None = Field(None, ge=0, le=31, description="Which of several answers is the temperature.")
    terminator: str = Field("\n", description="What ends a question.")


REGISTERS = {"int16": 1, "uint16": 1, "int32": 2, "uint32": 2, "float32": 2}
CHECK_BYTES = {"none": 0, "xor": 1, "sum": 1, "sum-negated": 1, "crc16": 2, "crc16-ccitt": 2}
LAST_REGISTER = 65535


class RegisterTable(Table):
    """One more value in the same Modbus read."""

    address: int = Field(ge=0, le=LAST_REGISTER, description="Register address, counted from 0.")
    type: Literal["int16", "uint16", "int32", "uint32", "float32"] = Field("int16", description="What it holds.")
    scale: Factor = Field(1.0, description="Multiplied with what it holds.")


class ModbusTable(Table):
    """Modbus RTU registers."""

    kind: Literal["modbus"] = "modbus"
    unit: int = Field(1, ge=1, le=247, description="Address of the instrument on the line.")
    function: Literal[3, 4] = Field(3, description="3 holding registers, 4 input registers.")
    address: int = Field(0, ge=0, le=LAST_REGISTER, description="Register of the height, counted from 0.")
    type: Literal["int16", "uint16", "int32", "uint32", "float32"] = Field("float32", description="What it holds.")
    order: Literal["ABCD", "CDAB", "BADC", "DCBA"] = Field("ABCD", description="Order of bytes; A is the highest.")
    scale: Factor = Field(1.0, description="Multiplied with what the register holds.")
    temperature: RegisterTable | None = Field(None, description="A temperature in degrees Celsius.")
    battery: RegisterTable | None = Field(None, description="Battery in per cent.")
    status: RegisterTable | None = Field(None, description="A register that must read `status_ok`.")
    status_ok: int = Field(0, description="What the status register reads when the height is good.")
    listen: bool = Field(False, description="Another master asks; only listen.")

    @model_validator(mode="after")
    def _one_read(self) -> "ModbusTable":
        first, count = self.span
        if count > 125:
            raise ValueError(f"registers {first} to {first + count - 1} are more than the 125 of one read")
        if first + count > LAST_REGISTER + 1:
            raise ValueError(f"there is no register beyond {LAST_REGISTER}")
        return self

    @property
    def span(self) -> tuple[int, int]:
        """First register and number of registers of the one read that holds all values."""
        parts = [(self.address, self.type), *((r.address, r.type) for r in self._others)]
        first = min(address for address, _ in parts)
        return first, max(address + REGISTERS[kind] for address, kind in parts) - first

    @property
    def _others(self) -> list[RegisterTable]:
        return [r for r in (self.temperature, self.battery, self.status) if r is not None]


class FrameField(Table):
    """One field of a binary frame."""

    at: int = Field(ge=0, le=255, description="Position of its first byte, the sync bytes counted.")
    type: Literal["int8", "uint8", "int16", "uint16", "int24", "uint24", "int32", "uint32", "float32", "float64"]
    order: Literal["big", "little"] = Field("big", description="Which byte comes first.")
    scale: Factor = Field(1.0, description="Multiplied with what it holds.")

    @property
    def size(self) -> int:
        """Its number of bytes."""
        return int("".join(filter(str.isdigit, self.type))) // 8


class FramesTable(Table):
    """Binary frames of fixed length."""

    kind: Literal["frames"] = "frames"
    sync: str = Field(min_length=2, max_length=16, pattern=r"^([0-9A-Fa-f]{2} ?)+$", description="First bytes, in hex.")
    length: int = Field(ge=2, le=256, description="Bytes of a whole frame, sync and check counted.")
    height: FrameField = Field(description="Where the height stands.")
    temperature: FrameField | None = Field(None, description="Where a temperature in degrees Celsius stands.")
    battery: FrameField | None = Field(None, description="Where the battery in per cent stands.")
    status: FrameField | None = Field(None, description="A field that must read `status_ok`.")
    status_ok: int = Field(0, description="What the status field reads when the height is good.")
    check: Literal["none", "xor", "sum", "sum-negated", "crc16", "crc16-ccitt"] = Field("none")
    check_from: int = Field(0, ge=0, le=255, description="First byte the check covers; it stands at the frame's end.")

    @model_validator(mode="after")
    def _fits(self) -> "FramesTable":
        end = self.length - CHECK_BYTES[self.check]
        if len(self.sync_bytes) > end:
            raise ValueError("the sync bytes are longer than the frame")
        if self.check != "none" and self.check_from >= end:
            raise ValueError(f"check_from stands beyond the frame's {end} bytes before the check")
        for name in ("height", "temperature", "battery", "status"):
            field: FrameField | None = getattr(self, name)
            if field is not None and field.at + field.size > end:
                raise ValueError(f"{name} stands beyond the frame's {end} bytes before the check")
        return self

    @property
    def sync_bytes(self) -> bytes:
        """The first bytes of a frame."""
        return bytes.fromhex(self.sync)


class PluginTable(BaseModel):
    """A decoder of a plug-in: its own fields are checked by the plug-in."""

    model_config = ConfigDict(extra="allow", frozen=True)
    kind: str = Field(min_length=1)


def kind_of(value: Any) -> str:
    """Which model a decoder table is read by."""
    kind = value.get("kind") if isinstance(value, dict) else getattr(value, "kind", None)
    return kind if kind in KINDS else "plugin"


InnerTable = Annotated[
    Annotated[LinesTable, Tag("lines")]
    | Annotated[NmeaTable, Tag("nmea0183")]
    | Annotated[ScpiTable, Tag("scpi")]
    | Annotated[ModbusTable, Tag("modbus")]
    | Annotated[FramesTable, Tag("frames")]
    | Annotated[PluginTable, Tag("plugin")],
    Discriminator(kind_of),
]
"""What may speak over a serial line that Bluetooth carries."""


class GattTable(Table):
    """Bluetooth LE: a characteristic with the height, or a serial line over two of them."""

    kind: Literal["gatt"] = "gatt"
    service: Uuid = Field("", description="Service, by UUID or 16-bit number.")
    characteristic: Uuid = Field("", description="Characteristic with the height.")
    type: NumberType = Field("", description="How the height is stored, where the device has no descriptor.")
    notify: Uuid = Field("", description="Serial line over GATT: the characteristic that sends.")
    write: Uuid = Field("", description="Serial line over GATT: the characteristic that takes.")
    inner: InnerTable | None = Field(None, description="The decoder of that serial line, as its own table.")
    acquire: bool = Field(False, description="Linux: take notifications through a socket of our own.")

    @model_validator(mode="after")
    def _one_source(self) -> "GattTable":
        if bool(self.inner) != bool(self.notify):
            raise ValueError("notify and an inner decoder belong together")
        if bool(self.characteristic) == bool(self.notify):
            raise ValueError("give either the characteristic with the height, or notify and an inner decoder")
        return self


KINDS: dict[str, type[Table]] = {
    "lines": LinesTable,
    "nmea0183": NmeaTable,
    "scpi": ScpiTable,
    "modbus": ModbusTable,
    "frames": FramesTable,
    "gatt": GattTable,
}


DecoderTable = (
    Annotated[LinesTable, Tag("lines")]
    | Annotated[NmeaTable, Tag("nmea0183")]
    | Annotated[ScpiTable, Tag("scpi")]
    | Annotated[ModbusTable, Tag("modbus")]
    | Annotated[FramesTable, Tag("frames")]
    | Annotated[GattTable, Tag("gatt")]
    | Annotated[PluginTable, Tag("plugin")]
)


class HeightTable(Table):
    """What the number means."""

    unit: str = Field("m", description="Used where the device sends none; a pressure unit makes a pressure instrument.")
    up: Literal[1, -1] = Field(1, description="-1 where the number grows downwards.")
    scale: Factor = Field(1.0, description="Multiplied with the number.")
    offset: Text = Field("0", description="Added to the height, after scale and sign.")
    resolution: Text = Field("0", description="Smallest step of the number.")
    accuracy: Text = Field("0", description='Stated accuracy: "2 mm", "0.1 %", "2 mm + 0.1 %".')
    accuracy_is: Literal["limit", "95%", "sigma"] = Field("limit", description="What the maker means by it.")
    drift: Text = Field("", description="How far the zero wanders, one sigma: `1 mm per h`.")
    least: Text = Field("", description="Heights below this are no readings.")
    most: Text = Field("", description="Heights above this are no readings.")


class SettleTable(Table):
    """When a reading counts as steady."""

    window: Duration = Field("1.5 s", description="Time looked at.")
    spread: Text = Field("2 mm", description="Most that readings may differ within it.")
    damping: Duration = Field("0 s", description="Time in which an oscillation falls to a third; 0: learnt.")


class FluidTable(Table):
    """What transmits the pressure."""

    kind: Literal["water", "glycol", "density", "air"] = Field("water", description="What fills the hose.")
    temperature: Text = Field("15 degC", description="Its temperature.")
    glycol: Literal["propylene", "ethylene"] = Field("propylene", description="Glycol: which one is in the water.")
    fraction: float = Field(0.0, ge=0.0, le=0.5, description="Glycol: mass fraction.")
    density: Text = Field("", description="Density, in kg/m3 unless a unit is written.")
    reference: Text = Field("1013.25 hPa", description="Air: the pressure at height zero.")
    tube: Text = Field("", description="Inner width of the tube read, where the other end is a reservoir.")
    reservoir: Text = Field("", description="Inner width of that reservoir: its surface falls as the tube's rises.")


class SiteTable(Table):
    """Where on earth."""

    latitude: float | None = Field(None, ge=-90, le=90, description="Degrees; gives gravity.")
    gravity: float | None = Field(None, ge=9.7, le=9.9, description="m/s2, if known better.")


class ReachTable(Table):
    """What the instrument can span before the reference end must move."""

    height: Text = Field("", description="Between reference end and probe, in height.")
    distance: Text = Field("", description="Between reference end and probe, along the ground.")
