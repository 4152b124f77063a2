"""One layout of steps, as the solver yields it and set-out, digging, quantities and as-built read it."""

from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """How a rule judges a layout."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule applied to one layout, with the value it measured and the limit it holds against."""

    rule: str
    clause: str
    status: Verdict
    value: float | None
    limit: float | None
    text: str


@dataclass(frozen=True, slots=True)
class Landing:
    """A depth of at least the least landing; it follows the riser `after_riser` (counted from 1)."""

    after_riser: int
    depth_m: float


@dataclass(frozen=True, slots=True)
class Certainty:
    """What the uncertainty of the ground does to a layout.

    Standard uncertainties of the rise and of a face, and the chance that the last riser, built to the heights of the
    plan, keeps the flight even within `even_within_m`.
    """

    u_rise_m: float
    u_face_m: float
    even_within_m: float
    even_chance: float


@dataclass(frozen=True, slots=True)
class Option:
    """One layout.

    `face_stations_m` (n) are the riser lines; `depths_m` (n, or n-1 when the last riser meets the grade) what follows
    each; `tops_m` (n) the finished height at the front of each, in the profile's datum; `faces_m` (n) the exposed
    height of each. `adjusted` says in words what was changed to make the layout close. `rise_m` and `run_m` are of this
    layout: they differ from the brief's where the foot was moved.
    """

    risers: int
    treads: int
    face_m: float
    nosing_rise_m: float
    tread_m: float
    fall: float
    landing_fall: float
    depths_m: tuple[float, ...]
    face_stations_m: tuple[float, ...]
    tops_m: tuple[float, ...]
    faces_m: tuple[float, ...]
    landings: tuple[Landing, ...]
    foot_m: float
    ground_above_m2: float
    ground_below_m2: float
    fit_m2: float
    step_rule_m: float
    findings: tuple[Finding, ...] = ()
    adjusted: tuple[str, ...] = ()
    rise_m: float | None = None
    run_m: float | None = None
    certainty: Certainty | None = None


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a riser count was refused: the rule or number that caused it."""

    rule: str
    text: str
    value: float | None = None
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Refusal:
    """A riser count that cannot be, with its causes and the smallest changes that would mend it."""

    risers: int
    causes: tuple[Cause, ...]
    mends: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Options:
    """All layouts of one brief, best first, with what was refused; rise and run in metres.

    `ranking` says in one line what put them in this order; `trade_offs` are the indexes of the options that no other
    beats in fit, comfort, landings and units at once. `flip_m` is the least error of the rise by which another count
    would come first; None where none would.
    """

    rise_m: float
    run_m: float
    options: tuple[Option, ...]
    refused: tuple[Refusal, ...]
    chosen: int = 0
    notes: tuple[str, ...] = ()
    ranking: str = ""
    trade_offs: tuple[int, ...] = ()
    estimate_only: bool = False
    flip_m: float | None = None
