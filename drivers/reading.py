"""The values that leave an instrument: first link of the flow, `bytes -> Chunk -> Reading`."""

from dataclasses import dataclass
from enum import StrEnum


class Reject(StrEnum):
    """Why a decoder refused what it heard; counted per decoder and shown to the user."""

    CHECKSUM = "checksum"
    LENGTH = "length"
    RANGE = "range"
    UNIT = "unit"
    STALE = "stale"
    NOT_A_NUMBER = "not_a_number"
    NOT_MINE = "not_mine"
    REFUSED = "refused"


class Link(StrEnum):
    """State of the line to the instrument, in the words shown to the user."""

    SEARCHING = "searching"
    OPENING = "opening"
    LIVE = "live"
    STALE = "stale"
    LOST = "lost"
    WAITING = "waiting"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes exactly as a transport delivered them.

    `t_s` is the monotonic clock at arrival; `channel` names the source where one link carries several
    (a GATT characteristic), empty on a serial line.
    """

    t_s: float
    data: bytes
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """One height the instrument showed, in metres, up positive, sign and offset of its file applied.

    `t_s` is the monotonic arrival of the chunk that completed it; `stable` is the instrument's own flag.
    """

    t_s: float
    height_m: float
    temperature_c: float | None = None
    battery: float | None = None
    stable: bool | None = None


@dataclass(frozen=True, slots=True)
class LinkChanged:
    """The line changed its state at `t_s` (monotonic); `why` is a sentence for the user."""

    t_s: float
    state: Link
    why: str = ""
