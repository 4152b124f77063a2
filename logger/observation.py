"""What the session hands to the adjustment: one tagged height, with all that is needed to weigh it."""

from dataclasses import dataclass
from enum import StrEnum

COVERAGE = 2.0
"""Standard uncertainties in what people are shown, in tolerances and guard bands: about 95 % (JCGM 100, 6.3.3)."""
LONGEST_M = 1e6
"""No distance, height or elevation of a walk is greater, in metres."""


class Kind(StrEnum):
    """What a tag was put on; the words of the record protocol."""

    BENCHMARK = "benchmark"
    STATION = "station"
    TURN = "turn"
    POINT = "point"
    BASE = "base"
    BUILT = "built"


class Surface(StrEnum):
    """Which surface a station lies on; surfaces are never adjusted as one point."""

    GROUND = "ground"
    DUG = "dug"
    BASE = "base"
    BUILT = "built"


class Tape(StrEnum):
    """How the tape was held: level, taut along the slope, or lying on the ground."""

    LEVEL = "level"
    TAUT = "taut"
    GROUND = "ground"


@dataclass(frozen=True, slots=True)
class Observation:
    """One observed height.

    `height_m` is what the instrument showed (sign and offset applied), up positive; `u_m` its standard
    uncertainty without what is common to the setup; `rod_m` the stick under the probe, to be subtracted.
    `tape_m` is the distance read on the tape, not yet reduced. `elevation_m` is given for a mark of known height,
    with `elevation_u_m`. `t_s` is monotonic, comparable within one session.
    """

    n: int
    kind: Kind
    setup: int
    t_s: float
    height_m: float
    u_m: float
    name: str = ""
    tape_m: float | None = None
    offset_m: float = 0.0
    surface: Surface = Surface.GROUND
    riser: int | None = None
    place: str = ""
    rod_m: float = 0.0
    elevation_m: float | None = None
    elevation_u_m: float = 0.0
    temperature_c: float | None = None
    forced: bool = False
    struck: bool = False
    readings: int = 1


@dataclass(frozen=True, slots=True)
class Taped:
    """A face measured with tape and spirit level, or the depth of a step by tape; length and uncertainty in metres."""

    n: int
    riser: int
    length_m: float
    u_m: float
    side: str = ""
    struck: bool = False


@dataclass(frozen=True, slots=True)
class Instrument:
    """What the adjustment must know of the instrument: standard uncertainties in metres, drift prior in m/h.

    `accuracy_u_m` is shared by readings at about one height (it cancels in their difference); `scale_u` is relative to
    the height difference. `by_air` marks heights told by the pressure of the air.
    """

    resolution_m: float = 0.0
    accuracy_u_m: float = 0.0
    scale_u: float = 0.0
    drift_u_m_per_h: float = 0.0
    by_air: bool = False


@dataclass(frozen=True, slots=True)
class Survey:
    """One walk, replayed from its session: the input of the adjustment, in the order observed."""

    observations: tuple[Observation, ...]
    tape: Tape = Tape.LEVEL
    faces: tuple[Taped, ...] = ()
    treads: tuple[Taped, ...] = ()
    instrument: Instrument = Instrument()
    session_digest: str = ""
    job: str = ""
