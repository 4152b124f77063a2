"""Tables as CSV by RFC 4180: comma, CRLF, a header, quotes only where needed; lengths in metres to a micrometre."""

import csv
import io
from collections.abc import Iterable, Sequence

from logger.setout import SetOut

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


def marks_csv(plan: SetOut) -> str:
    """One line a riser; several ground crossings stand in one field, parted by a space."""
    return _csv(MARK_COLUMNS, (_row(plan, i) for i in range(len(plan.marks))))


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
