"""Tables as CSV by RFC 4180: comma, CRLF, a header, quotes only where needed; lengths in metres to a micrometre."""

import csv
import io
from collections.abc import Iterable, Sequence

from logger.setout import SetOut
from logger.takeoff import Line, TakeOff

MARK_COLUMNS = (
    "riser",
    "part",
    "face_station_m",
    "nosing_station_m",
    "tape_m",
    "level_m",
    "ground_crossings_m",
    *(f"{end}_{what}_m" for end in ("front", "back") for what in ("finished", "base_top", "subgrade", "ground", "dig")),
)
LINE_COLUMNS = ("use", "item", "quantity", "unit", "net", "waste", "price", "amount", "currency", "how")


def marks_csv(plan: SetOut) -> str:
    """One line a riser; several ground crossings stand in one field, parted by a space."""
    return _csv(MARK_COLUMNS, (_row(plan, i) for i in range(len(plan.marks))))


def lines_csv(taken: TakeOff) -> str:
    """One line of the take-off a line; what has no price has an empty amount."""
    return _csv(LINE_COLUMNS, (_line(line, taken.currency) for line in taken.lines))


def _line(line: Line, currency: str) -> Iterable[object]:
    yield from (line.use.value, line.item, line.quantity, line.unit, line.net, line.waste)
    yield from (line.price, line.amount, currency if line.amount is not None else "", line.how)


def _row(plan: SetOut, index: int) -> Iterable[object]:
    mark = plan.marks[index]
    yield mark.riser
    yield mark.part.value
    yield from (mark.face_station_m, mark.nosing_station_m, mark.tape_m, mark.level_m)
    yield " ".join(_number(x) for x in mark.ground_crossings_m)
    for end in (mark.front, mark.back):
        yield from (end.finished_m, end.base_top_m, end.subgrade_m, end.ground_m, end.dig_m)


def _csv(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_number(v) if isinstance(v, float) else v for v in row] for row in rows)
    return out.getvalue()


def _number(value: float) -> str:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
