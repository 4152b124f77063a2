"""The JSON documents of set-out, as programs read them: lengths in metres, heights above the zero."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from logger.setout import Mark, SetOut, Stake

SETOUT = "risewalk.setout/1"


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
