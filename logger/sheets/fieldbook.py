"""The field book on paper: every line as observed, struck ones struck through, and how the walk closed."""

from collections.abc import Iterator
from dataclasses import replace

from drivers.lengths import Units, show_length
from logger.measures import fine
from logger.observation import COVERAGE
from logger.profile import Profile, ProfilePoint
from logger.reduction.adjustment import Adjustment, Residual
from logger.session.events import iso
from logger.session.fieldbook import TAPED, Entry, FieldBook
from logger.sheets import cautions
from logger.sheets.document import Cell, Lines, Sheet, Table, length
from logger.sheets.head import facts, foot


def field_book_sheet(book: FieldBook, adjusted: Adjustment, units: Units) -> Sheet:
    """All observations of one session in the order observed, with residuals and closure."""
    profile = adjusted.profile
    seen, what = (profile, "Ground") if profile.points else (_all_heights(adjusted), "Heights")
    residuals = {r.n: r for r in adjusted.residuals}

    def row(entry: Entry) -> tuple[Cell, ...]:
        body, residual = entry.body, residuals.get(entry.n)
        cells = (
            Cell(str(entry.n), f"setup {body['setup']}"),
            Cell(iso(entry.at_us)[11:19], iso(entry.at_us)[:10]),
            Cell(_what(entry, units), _remark(entry)),
            length(body.get("height_m"), units),
            length(body.get("above_zero_m", body.get("length_m")), units),
            Cell(_sure(body.get("u_m"))),
            _residual(residual),
        )
        return tuple(Cell(c.text, c.under, struck=True) for c in cells) if entry.struck else cells

    heads = ("No.", "Time, UTC", "What", "Shown", "Above zero", "± 95 %", "Residual")
    note = "Struck lines stay and count for nothing. Shown is what the instrument said, sign and offset applied."
    return Sheet(
        title="Field book",
        job=book.job or "no job named",
        facts=facts(seen, units, what),
        blocks=(
            Table("Observations", heads, tuple(row(entry) for entry in book.entries), strong=(4,), note=note),
            Lines("Closure", tuple(_closure(adjusted))),
            Lines("Notes", tuple(f"{iso(at_us)[:19]}: {text}" for at_us, text in book.notes)),
            Lines("Please note", (*profile.notes, cautions.GOVERNS), boxed=True),
        ),
        foot=foot(seen, units, what),
    )


def _all_heights(adjusted: Adjustment) -> Profile:
    """Where no ground was walked, every point that was: its uncertainty is what there is to say."""
    found = (h for h in adjusted.heights.values() if h.u_m)
    points = tuple(ProfilePoint(float(i), 0.0, h.elevation_m, h.u_m) for i, h in enumerate(found))
    return replace(adjusted.profile, points=points)


def _what(entry: Entry, units: Units) -> str:
    body = entry.body
    match body["kind"]:
        case "station":
            offset = body["offset_m"]
            side = f", {show_length(abs(offset), units)} {'left' if offset < 0 else 'right'}" if offset else ""
            on = "" if body["surface"] == "ground" else f", {body['surface']}"
            return f"station {show_length(body['tape_m'], units)}{side}{on}"
        case "base" | "built":
            at = "" if body["tape_m"] is None else f" at {show_length(body['tape_m'], units)}"
            return f"{body['kind']} {body['riser']} {body['place']}{at}"
        case kind if kind in TAPED:
            return f"{kind} {body['riser']} by tape"
        case kind:
            return f"{kind} {body['name']}"


def _remark(entry: Entry) -> str:
    parts = [str(entry.body.get("note", ""))]
    parts += ["forced"] if entry.body.get("forced") else []
    parts += [f"struck{': ' + entry.reason if entry.reason else ''}"] if entry.struck else []
    return ", ".join(part for part in parts if part)


def _sure(u_m: float | None) -> str:
    return "–" if u_m is None else f"{COVERAGE * u_m * 1000:.1f} mm"


def _residual(residual: Residual | None) -> Cell:
    if residual is None:
        return Cell("–")
    off = fine(residual.residual_m, Units.METRES, signed=True)[0]
    return Cell(off, "suspect" if residual.suspect else "")


def _closure(adjusted: Adjustment) -> Iterator[str]:
    closed = adjusted.closure
    if closed.misclosure_m is None:
        yield "the zero was observed once only: the walk is not closed"
    else:
        yield (
            f"last zero less first {closed.misclosure_m * 1000:+.1f} mm, allowed ± {closed.tolerance_m * 1000:.1f} mm: "
            f"{closed.status}"
        )
    yield f"{adjusted.redundancy} observations more than needed"
