"""What a session says when its events are read in order: setups, the zero, heights observed and struck out.

The recorder keeps one as it works, `survey` makes one from a file, `verify` makes one beside the raw bytes: all by
the same `apply`, so that they cannot differ.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

from logger.errors import Refused
from logger.observation import Kind, Surface, Tape
from logger.session.events import Draft, Event, EventKind

FACE, TREAD = "face", "tread"
TAPED = (FACE, TREAD)
"""What is measured by tape alone: the height of a face, the depth of the step behind it."""
SAME_M = 1e-9
GOES_ON_US = 300 * 1_000_000
"""How long a recorder may be away, with the same instrument on the same port, and go on without a new zero."""


@dataclass(slots=True)
class Entry:
    """One numbered line of the book: an observation or a taped length, as recorded, and whether it was struck out."""

    body: Mapping[str, Any]
    at_us: int
    t_us: int
    struck: bool = False
    reason: str = ""

    @property
    def n(self) -> int:
        """The number it is struck out by."""
        return int(self.body["n"])


@dataclass(frozen=True, slots=True)
class Zero:
    """What heights of the current setup are counted from: the mark, its elevation, what the instrument shows at 0."""

    name: str
    elevation_m: float
    shown_at_zero_m: float
    at_us: int
    t_us: int


@dataclass(frozen=True, slots=True)
class Related:
    """An observed height put in relation to the zero; `known_m` is set where it is itself what others count from."""

    elevation_m: float | None
    known_m: float | None
    above_zero_m: float
    misclosure_m: float | None


@dataclass(slots=True)
class FieldBook:
    """The state of a session after the events applied so far.

    `stretch` counts the spans of readings that share one offset: a new one begins with a setup and with a link gap.
    """

    setup: int = 1
    stretch: int = 1
    surface: Surface = Surface.GROUND
    rod_m: float = 0.0
    tape: Tape = Tape.LEVEL
    job: str = ""
    port: str = ""
    instrument: str = ""
    instrument_digest: str = ""
    closed: bool = False
    last_us: tuple[int, int] | None = None
    last_tag: Entry | None = None
    notes: list[tuple[int, str]] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)

    def apply(self, event: Event | Draft) -> None:
        """Take one event in."""
        if event.kind != EventKind.RAW:
            self._apply(event, event.body)
        self.last_us = (event.at_us, event.t_us)

    def _apply(self, event: Event | Draft, body: Mapping[str, Any]) -> None:
        match event.kind:
            case EventKind.OPENED:
                self._open(body)
            case EventKind.SETUP:
                self.setup = int(body["setup"])
                self.stretch += 1
            case EventKind.LINK | EventKind.CLOCK if body.get("gap"):
                self.stretch += 1
            case EventKind.SURFACE:
                self.surface = Surface(body["surface"])
            case EventKind.ROD:
                self.rod_m = float(body["rod_m"])
            case EventKind.OBSERVED:
                if body["n"] != self.next_n:
                    raise ValueError(f"it is numbered {body['n']} where {self.next_n} is due")
                self.last_tag = Entry(body, event.at_us, event.t_us)
                self.entries.append(self.last_tag)
            case EventKind.STRUCK:
                entry = self.entry(int(body["n"]))
                entry.struck, entry.reason = True, str(body.get("reason", ""))
            case EventKind.NOTED:
                self.notes.append((event.at_us, str(body.get("text", ""))))
            case EventKind.CLOSED:
                self.closed = True

    def _open(self, body: Mapping[str, Any]) -> None:
        self.closed = False
        self.tape = Tape(body["tape"])
        self.job = str(body.get("job", "")) or self.job
        self.port = str(body.get("port", ""))
        instrument = body.get("instrument", {})
        self.instrument, self.instrument_digest = str(instrument.get("text", "")), str(instrument.get("sha256", ""))
        if body.get("gap"):
            self.stretch += 1

    def goes_on(self, at_us: int, port: str, instrument_digest: str) -> bool:
        """Whether a recorder that starts now may go on in the same setup without observing the zero again."""
        if self.last_us is None:
            return True
        away_us = at_us - self.last_us[0]
        same = (self.port, self.instrument_digest) == (port, instrument_digest)
        return same and 0 <= away_us <= GOES_ON_US

    @property
    def next_n(self) -> int:
        """The number of the next observation or taped length."""
        return len(self.entries) + 1

    def entry(self, n: int) -> Entry:
        """Observation or taped length number n; Refused `unknown_observation` if there is none."""
        if not 1 <= n <= len(self.entries):
            raise Refused("unknown_observation", f"there is no observation {n}")
        return self.entries[n - 1]

    def standing(self, *, before: int | None = None) -> Iterator[Entry]:
        """Heights observed and not struck out, the latest first; before number `before`."""
        latest = len(self.entries) if before is None else min(before - 1, len(self.entries))
        entries = (self.entries[at] for at in range(latest - 1, -1, -1))
        return (e for e in entries if not e.struck and e.body["kind"] not in TAPED)

    def zero(self) -> Zero | None:
        """What the current stretch counts from, None before it is observed."""
        entry = self.zero_entry(self.stretch)
        return None if entry is None else _zero(entry)

    def zero_entry(self, stretch: int, *, before: int | None = None) -> Entry | None:
        """The last benchmark of a stretch, else its first mark of known height; before number `before`."""
        found = None
        for entry in self.standing(before=before):
            if entry.body["stretch"] < stretch:
                break
            if entry.body["stretch"] == stretch and entry.body["known_m"] is not None:
                found = entry
                if entry.body["elevation_m"] is not None:
                    break
        return found

    def relate(self, kind: Kind, name: str, shown_m: float, given_m: float | None = None) -> Related:
        """Put a height the instrument shows, less the rod, in relation to the zero.

        Refused `needs_zero` where nothing of known height was observed in this stretch and this is not such a mark.
        """
        zero = self.zero()
        elevation = self.elevation(name, given_m) if kind is Kind.BENCHMARK else None
        known = elevation
        if known is None and zero is None and kind in (Kind.BENCHMARK, Kind.TURN, Kind.POINT):
            known = self.height_of(name)
        if zero is None:
            if known is None:
                raise Refused("needs_zero", self.why_needs_zero())
            return Related(elevation, known, known, None)
        above = shown_m - zero.shown_at_zero_m
        before = known if known is not None else self.height_of(name) if name else None
        return Related(elevation, known, above, None if before is None else above - before)

    def elevation(self, name: str, given_m: float | None) -> float | None:
        """The elevation of a benchmark: as given, as given before, 0 for the first; None for another mark.

        Refused `bad_length` where it was given differently before and that observation still stands.
        """
        earlier = [e for e in reversed(self.entries) if e.body["kind"] == Kind.BENCHMARK]
        mine = [e for e in earlier if e.body["name"] == name and e.body["elevation_m"] is not None]
        if given_m is None:
            if mine:
                return float(mine[0].body["elevation_m"])
            return None if any(not e.struck and e.body["elevation_m"] is not None for e in earlier) else 0.0
        for entry in mine:
            if not entry.struck and abs(entry.body["elevation_m"] - given_m) > SAME_M:
                was = f"{name} was entered at {entry.body['elevation_m']} m in observation {entry.n}"
                raise Refused("bad_length", f"{was}; strike that first if it was wrong")
        return given_m

    def height_of(self, name: str) -> float | None:
        """The height of a named mark as last observed; None if it never was, or was counted from what is struck out."""
        entry = self._last_of(name, len(self.entries) + 1)
        if entry is None or self.way(entry, counted=entry.body["known_m"] is None) is None:
            return None
        known = entry.body["known_m"]
        return self.above_zero_m(entry) if known is None else float(known)

    def above_zero_m(self, entry: Entry) -> float:
        """The height of an observation: as recorded, or counted anew where what it was counted from was struck out."""
        recorded, zero = float(entry.body["above_zero_m"]), self._zero_of(entry)
        if zero is None:
            return recorded
        above = float(entry.body["height_m"] - entry.body["rod_m"] - _zero(zero).shown_at_zero_m)
        return recorded if abs(above - recorded) <= SAME_M else above

    def way(self, entry: Entry, *, counted: bool = True) -> list[tuple[int, Entry]] | None:
        """The observations, added (+1) or taken off (-1), whose sum is a height above the zero: back to a benchmark.

        Of the height counted from the zero of its stretch or, not `counted`, of the known height that others count
        from. None where something on the way was struck out.
        """
        steps: list[tuple[int, Entry]] = []
        while True:
            if counted and (zero := self._zero_of(entry)) is not None:
                steps += [(1, entry), (-1, zero)]
                entry = zero
            elif counted and entry.body["known_m"] != entry.body["above_zero_m"]:
                return None
            if entry.body["elevation_m"] is not None:
                return steps
            earlier = self._last_of(entry.body["name"], entry.n)
            if earlier is None:
                return None
            entry, counted = earlier, earlier.body["known_m"] is None

    def _zero_of(self, entry: Entry) -> Entry | None:
        """What an observation counts from: the zero as it stood, else, where that was struck out, a benchmark since."""
        stretch = entry.body["stretch"]
        before = self.zero_entry(stretch, before=entry.n)
        if before is not None or entry.body["known_m"] is not None:
            return before
        since = self.zero_entry(stretch)
        return since if since is not None and since.body["elevation_m"] is not None else None

    def _last_of(self, name: str, before: int) -> Entry | None:
        return next((e for e in self.standing(before=before) if e.body["name"] == name), None)

    def why_needs_zero(self) -> str:
        """What to do before heights count."""
        named = dict.fromkeys(e.body["name"] for e in self.standing() if e.body["name"])
        if marks := list(islice((name for name in named if self.height_of(name) is not None), 3)):
            return f"observe the zero again first: benchmark, or turn or point, on {' or '.join(marks)}"
        return "observe the zero first: benchmark NAME"


def _zero(entry: Entry) -> Zero:
    body = entry.body
    shown = body["height_m"] - body["rod_m"] - body["known_m"]
    return Zero(body["name"], body["known_m"], shown, entry.at_us, entry.t_us)
