"""The JSON documents of set-out, quantities and as-built: lengths in metres, heights above the zero."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from logger.asbuilt import NOT_CHECKED, AsBuilt
from logger.built_depths import BuiltDepth
from logger.earthworks import Earthworks
from logger.quote import Quote
from logger.setout import Mark, SetOut, Stake
from logger.sheets import cautions
from logger.takeoff import Line, TakeOff

SETOUT, TAKEOFF, ASBUILT = "risewalk.setout/1", "risewalk.takeoff/1", "risewalk.asbuilt/1"


def setout_document(plan: SetOut) -> dict[str, Any]:
    """Marks and stakes of one layout."""
    return {
        "schema": SETOUT,
        "datum": {"name": plan.datum, "elevation_m": plan.datum_elevation_m},
        "foot_m": plan.foot_m,
        "end_station_m": plan.end_station_m,
        "tape": plan.tape.value,
        "loose_lift_m": plan.loose_lift_m,
        "marks": [_mark(mark) for mark in plan.marks],
        "stakes": [_stake(stake) for stake in plan.stakes],
        "session_digest": plan.digest,
        "notes": list(plan.notes),
        "cautions": [*cautions.DIGGING, cautions.GOVERNS],
    }


def _mark(mark: Mark) -> Mapping[str, Any]:
    return {
        "riser": mark.riser,
        "part": mark.part.value,
        "face_m": mark.face_m,
        "depth_m": mark.depth_m,
        "face_station_m": mark.face_station_m,
        "nosing_station_m": mark.nosing_station_m,
        "tape_m": mark.tape_m,
        "level_m": mark.level_m,
        "ground_crossings_m": list(mark.ground_crossings_m),
        "front": asdict(mark.front),
        "back": asdict(mark.back),
        "beds": [asdict(bed) for bed in mark.beds],
        "courses": [asdict(course) for course in mark.courses],
    }


def _stake(stake: Stake) -> Mapping[str, Any]:
    return {
        "name": stake.name,
        "place": stake.place,
        "station_m": stake.station_m,
        "side": stake.side,
        "offset_m": stake.offset_m,
        "top_m": stake.top_m,
        "nosing_m": stake.nosing_m,
        "base_top_m": stake.base_top_m,
        "subgrade_m": stake.subgrade_m,
        "down_to_nosing_m": stake.down_to_nosing_m,
        "down_to_base_m": stake.down_to_base_m,
        "down_to_subgrade_m": stake.down_to_subgrade_m,
    }


def takeoff_document(taken: TakeOff, plan: SetOut, work: Earthworks, offers: tuple[Quote, ...] = ()) -> dict[str, Any]:
    """Quantities, their amounts as decimal strings, volumes and courses behind them, and the quotes made from them."""
    return {
        "schema": TAKEOFF,
        "alternative": taken.alternative,
        "items": [_line(line) for line in taken.lines],
        "total": None if taken.total is None else str(taken.total),
        "currency": taken.currency,
        "unpriced": list(taken.unpriced),
        "digging": asdict(work),
        "courses": [asdict(course) for mark in plan.marks for course in mark.courses],
        "quotes": [_offer(offer) for offer in offers],
        "cautions": [*cautions.DIGGING, cautions.GOVERNS],
    }


def _line(line: Line) -> Mapping[str, Any]:
    return {
        "use": line.use.value,
        "item": line.item,
        "quantity": float(line.quantity),
        "unit": line.unit,
        "net": float(line.net),
        "waste": float(line.waste),
        "how": line.how,
        "price": None if line.price is None else str(line.price),
        "amount": None if line.amount is None else str(line.amount),
        "mass_kg": None if line.mass_kg is None else float(line.mass_kg),
        "hours": float(line.hours),
    }


def _offer(offer: Quote) -> Mapping[str, Any]:
    return {
        "alternative": offer.alternative,
        "costs": [{"name": c.name, "how": c.how, "amount": str(c.amount)} for c in offer.costs],
        "price": str(offer.price),
        "tax": str(offer.tax),
        "total": str(offer.total),
    }


def asbuilt_document(result: AsBuilt) -> dict[str, Any]:
    """The verdict on the whole and on each riser."""
    return {
        "schema": ASBUILT,
        "risers": [asdict(riser) | {"status": riser.status.value} for riser in result.risers],
        "depths": [_depth(depth) for depth in result.depths],
        "judged": [asdict(part) | {"status": part.status.value} for part in result.judged],
        "uniformity_m": result.uniformity_m,
        "status": result.status.value,
        "rule": result.rule,
        "session_digest": result.digest,
        "limits": asdict(result.limits),
        "findings": [asdict(finding) | {"status": finding.status.value} for finding in result.findings],
    }


def _depth(depth: BuiltDepth) -> Mapping[str, Any]:
    return asdict(depth) | {"status": NOT_CHECKED if depth.built_m is None else depth.status.value}
