"""Where the walk stands, in full lines: status, field book, help."""

from collections.abc import Iterator, Sequence

from drivers.lengths import Units
from tui.walking.distances import ago, distance, give_or_take, height, lasted
from tui.walking.doubts import warnings
from tui.walking.said import safe
from tui.walking.standing import Live, Row, Standing
from tui.walking.telling import called, clock_time, remark

HELP = (
    "Enter: take what is suggested next.",
    "12.5, or 12 ft 6 in, or 12 left 2, or 12 # a note: take a station there.",
    "height: the height now. status: where things stand. best: the steps so far.",
    "list: the book; list 5: its last five.",
    "zero: observe the zero again. point NAME: a named point. benchmark NAME: a first mark.",
    "turn: a turning point; then the reference end moves, and the same point again. moved: it has been moved.",
    "force: take the next reading without waiting for steady. stop: end the wait.",
    "undo: strike out the last observation. strike N # reason: any other. Both are asked first, yes or no.",
    "note TEXT: a remark. surface ground, dug, base or built: what comes next. rod LENGTH: the stick under the probe.",
    "base RISER front, built RISER front, face RISER LENGTH: steps as they are laid.",
    "Setting out in words is a command of its own, risewalk setout FILE --brief BRIEF --live.",
    "mute: sound off or on. quit: leave, the recorder goes on. end: end the session and leave.",
)


def status_lines(standing: Standing, live: Live | None, rows: Sequence[Row], units: Units) -> Iterator[str]:
    """What to mind first, then session, instrument, zero, book, disk: one line each."""
    for warning in warnings(standing, live, rows, units):
        yield f"Mind: {safe(warning)}."
    job = f", {safe(standing.job, 60)}" if standing.job else ""
    yield f"Session {safe(standing.session)}{job}."
    yield f"Instrument {safe(standing.instrument, 60)} on {safe(standing.port, 60)}: {_link(standing, live)}."
    zero = standing.zero
    yield "Zero: none yet." if zero is None else f"Zero {safe(zero.name, 24)}, {lasted(zero.age_s)} old."
    rod = f", rod {distance(standing.rod_m, units)}" if standing.rod_m else ""
    yield f"Setup {standing.setup}, on {safe(standing.surface, 20)}{rod}, tape {safe(standing.tape, 10)}."
    struck = f", {standing.struck} struck out" if standing.struck else ""
    yield f"Book: {standing.observations} observed{struck}."
    yield f"Saved {clock_time(standing.last_save) or 'nothing yet'}." if standing.saved else "Not saved."


def _link(standing: Standing, live: Live | None) -> str:
    parts = [safe(standing.link, 12) or "not heard yet"]
    if live is not None:
        parts.append(f"last reading {ago(live.age_s)}")
    if standing.battery is not None:
        part = standing.battery if standing.battery <= 1 else standing.battery / 100
        parts.append(f"battery {part * 100:.0f} %")
    return ", ".join(parts)


def book_lines(rows: Sequence[Row], units: Units, last: str) -> list[str]:
    """The field book, one line a row; `last` may say how many."""
    shown = rows[-int(last[:6]) :] if last.isdecimal() and int(last[:6]) > 0 else rows
    return [_row(row, units) for row in shown] or ["Nothing observed yet."]


def _row(row: Row, units: Units) -> str:
    if row.taped:
        value = distance(row.height_m, units)
    else:
        value = f"{height(row.above_zero_m, units)} {give_or_take(row.above_zero_u_m, units)}"
    more = remark(row, units)
    return f"No. {row.n}: {called(row, units)}, {value}{f', {more}' if more else ''}."
