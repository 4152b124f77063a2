"""A profile from a file: a session, adjusted, or a CSV of stations and elevations from elsewhere."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import FileError, WrongFile
from logger.observation import Surface
from logger.written import number, read_text

if TYPE_CHECKING:
    from logger.profile import Profile, ProfilePoint
    from logger.reduction.adjustment import Adjustment
    from logger.reduction.closure import Tolerance

SESSION_MAGIC = b"SQLite format 3\x00"
NEEDED = ("station_m", "elevation_m")
COLUMNS = ("station_m", "offset_m", "elevation_m", "u_m")
MOST_MISTAKES = 50
LEAST_CENTRE = 2


def read_profile(path: Path | str, *, surface: Surface = Surface.GROUND, until_us: int | None = None) -> "Profile":
    """The profile of a session, or of what it held at a session time in microseconds, or of a CSV file.

    Raises FileError and its kinds (WrongFile lists every mistake of a CSV with its line), Refused `needs_zero` for a
    session without a zero.
    """
    if not is_session(path):
        return read_csv(path)
    from logger.reduction.adjustment import adjust
    from logger.session.replay import survey

    walked = survey(path, until_us=until_us)
    # Work moves what is dug and laid between one observation and the next: that must not bend the ground.
    seen = tuple(o for o in walked.observations if o.surface in (Surface.GROUND, surface))
    profile = adjust(replace(walked, observations=seen), surface=surface).profile
    if not any(o.surface is Surface.DUG and not o.struck for o in walked.observations):
        return profile
    dug = [point.station_m for point in adjust(walked, surface=Surface.DUG).profile.points]
    return replace(profile, dug_m=(min(dug), max(dug)))


def read_adjustment(
    path: Path | str, *, surface: Surface = Surface.GROUND, tolerance: "Tolerance | None" = None
) -> "Adjustment":
    """A session adjusted; raises as `read_profile`."""
    from logger.reduction.adjustment import adjust
    from logger.session.replay import survey

    return adjust(survey(path), surface=surface, tolerance=tolerance)


def is_session(path: Path | str) -> bool:
    """Whether a file is a session by its first bytes; FileError where it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            return file.read(len(SESSION_MAGIC)) == SESSION_MAGIC
    except OSError as error:
        raise FileError(path, error.strerror or str(error)) from None


def read_csv(path: Path | str) -> "Profile":
    """A profile from CSV with at least `station_m,elevation_m`; `offset_m` and `u_m` are taken where they stand."""
    from logger.profile import Profile

    rows = _Rows(path)
    points = tuple(rows.points())
    if not rows.mistakes and sum(p.offset_m == 0.0 for p in points) < LEAST_CENTRE:
        rows.mistakes.append("at least two points of the centre line are needed (offset 0)")
    if rows.mistakes:
        raise WrongFile(path, rows.told())
    notes = () if rows.has_u else ("the file gives no uncertainty (u_m): heights are taken as exact",)
    return Profile(points=points, datum="datum of the file", source=Path(path).name, notes=notes)


@dataclass(slots=True)
class _Rows:
    """The rows of one file, with every mistake met on the way."""

    path: Path | str
    mistakes: list[str] = field(default_factory=list)
    has_u: bool = False

    def told(self) -> list[str]:
        """The mistakes, the first fifty of them where there are more."""
        more = len(self.mistakes) - MOST_MISTAKES
        return self.mistakes[:MOST_MISTAKES] + ([f"and {more} more"] if more > 0 else [])

    def points(self) -> "Iterator[ProfilePoint]":
        """Points in order; a row with a mistake is left out and told of."""
        from logger.profile import ProfilePoint

        reader = csv.reader(io.StringIO(read_text(self.path), newline=""))
        header: list[str] | None = None
        last: tuple[float, float] | None = None
        try:
            for row in reader:
                cells = [cell.strip() for cell in row]
                if not any(cells):
                    continue
                if header is None:
                    header = self._header(cells)
                    continue
                values = self._values(header, cells, reader.line_num)
                if values is None:
                    continue
                place = (values["station_m"], values.get("offset_m", 0.0))
                if self._in_order(last, place, reader.line_num):
                    yield ProfilePoint(*place, values["elevation_m"], values.get("u_m", 0.0))
                last = place if last is None else max(last, place)
        except csv.Error as error:
            self.mistakes.append(f"line {reader.line_num}: {error}")
        if header is None:
            self.mistakes.append("it is empty: a first line station_m,elevation_m is needed")

    def _header(self, cells: list[str]) -> list[str]:
        missing = [name for name in NEEDED if name not in cells]
        if missing:
            raise WrongFile(self.path, [f"line 1: no column {name}" for name in missing])
        doubled = sorted({c for c in cells if c in COLUMNS and cells.count(c) > 1})
        if doubled:
            raise WrongFile(self.path, [f"line 1: column {name} stands there twice" for name in doubled])
        self.has_u = "u_m" in cells
        return cells

    def _values(self, header: list[str], cells: list[str], line: int) -> dict[str, float] | None:
        if len(cells) != len(header):
            self.mistakes.append(f"line {line}: {len(cells)} values under {len(header)} columns")
            return None
        before = len(self.mistakes)
        values: dict[str, float] = {}
        for name, cell in zip(header, cells, strict=True):
            if name not in COLUMNS or (not cell and name not in NEEDED):
                continue
            value = number(cell)
            if value is None or (name == "u_m" and value < 0):
                self.mistakes.append(
                    f"line {line}: {name} {cell[:40]!r} is not {'a number' if value is None else 'positive'}"
                )
            else:
                values[name] = value
        return values if len(self.mistakes) == before else None

    def _in_order(self, last: tuple[float, float] | None, place: tuple[float, float], line: int) -> bool:
        if last is None or place > last:
            return True
        if place == last:
            self.mistakes.append(f"line {line}: station {place[0]:g} stands there twice")
        else:
            self.mistakes.append(
                f"line {line}: station {place[0]:g} comes after {last[0]:g}; sort by station, then offset"
            )
        return False
