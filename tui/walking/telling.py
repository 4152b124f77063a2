"""Rows of the field book and answers of the recorder in words, the same on the screen and in plain mode."""

from collections.abc import Sequence
from datetime import datetime

from drivers.lengths import Units
from tui.walking.distances import distance, give_or_take, height
from tui.walking.said import safe
from tui.walking.standing import Row
from tui.walking.walk import Answer


def clock_time(iso: str) -> str:
    """A time of the session on the wall clock here, empty where there is none."""
    try:
        return datetime.fromisoformat(iso).astimezone().strftime("%H:%M:%S")
    except ValueError:
        return ""


def called(row: Row, units: Units) -> str:
    """What a row is on the list: its station, its name, or its riser."""
    if row.station_m is not None:
        side = (
            f" {'left' if row.offset_m < 0 else 'right'} {distance(abs(row.offset_m), units)}" if row.offset_m else ""
        )
        on = "" if row.surface == "ground" else f"{row.surface} "
        return f"{on}{distance(row.station_m, units)}{side}"
    if row.riser is not None:
        return f"{row.kind} {row.riser} {row.place}".strip()
    word = {"benchmark": "zero ", "turn": "turn "}.get(row.kind, "")
    return word + safe(row.name, 24)


def zero_named(rows: Sequence[Row]) -> str:
    """What heights are counted from: the first mark where it is the zero itself, whatever mark was observed since."""
    first = next((r for r in rows if r.kind == "benchmark" and not r.struck), None)
    return "the zero" if first is None or first.elevation_m else safe(first.name, 24)


def remark(row: Row, units: Units) -> str:
    """What else is to be known of a row."""
    parts = []
    if row.struck:
        parts.append("struck out" + (f": {safe(row.reason, 40)}" if row.reason else ""))
    if row.forced:
        parts.append("forced")
    if row.misclosure_m is not None:
        parts.append(f"off {height(row.misclosure_m, Units.MILLIMETRES)}")
    if row.note:
        parts.append(safe(row.note, 60))
    return ", ".join(parts)


def told(answer: Answer, rows: Sequence[Row], units: Units) -> str:
    """What was answered to a line that was obeyed, the important word first."""
    match answer.get("event"):
        case "observed":
            return _taken(next((r for r in rows if r.n == answer["n"]), None), units)
        case "struck":
            return f"No. {answer.get('n')} is struck out; it stays in the book."
        case "setup":
            return "A new setup begins; nothing counts before a known mark is observed."
        case "cancelled":
            return "Stopped; nothing was taken."
        case "noted":
            return f"Noted: {safe(answer.get('text'), 60)}"
        case "surface":
            return f"The next stations are on: {safe(answer.get('surface'), 20)}"
        case "rod":
            return f"The probe stands on a stick of {height(float(answer.get('rod_m') or 0.0), units)}"
        case other:
            return safe(other)


def _taken(row: Row | None, units: Units) -> str:
    if row is None:
        return "Taken and saved."
    if row.taped:
        return f"Taken and saved {clock_time(row.at)}: {called(row, units)}, {distance(row.height_m, units)}"
    value = f"{height(row.above_zero_m, units)} {give_or_take(row.above_zero_u_m, units)}"
    off = "" if row.misclosure_m is None else f"off {height(row.misclosure_m, units)}"
    taken = f"Taken and saved {clock_time(row.at)}: {called(row, units)}, {value}"
    if astray(row):
        return f"{off.upper()}: is it the same mark, untouched? Observe it again. {taken}"
    return f"{taken}, {off}" if off else taken


def astray(row: Row) -> bool:
    """Whether a point of known height was found farther off than a walk that closes may be."""
    from logger.reduction.closure import Tolerance

    off_m = row.misclosure_m
    return off_m is not None and abs(off_m) > Tolerance().limit_m(row.above_zero_u_m or 0.0, walked_m=0.0)
