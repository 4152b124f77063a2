"""Section and plan as DXF, in metres: the section is drawn as station and height, the plan as station and offset.

Layers carry trade words; the plan stands below the section, its centre line on a level of its own.
"""

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from logger.errors import Refused
from logger.profile import Ground, Profile
from logger.setout import SetOut

if TYPE_CHECKING:
    from ezdxf.layouts.layout import Modelspace

METRES = 6
"""The header's number for metres (`$INSUNITS`)."""
GAP_M = 2.0
"""How far below the section the plan's centre line lies, beyond half the width of what is drawn."""
TEXT_M = 0.06
LAYERS = {
    "GROUND": "CONTINUOUS",
    "FINISHED": "CONTINUOUS",
    "BASE_TOP": "DASHED",
    "SUBGRADE": "DOT",
    "GROUND_CROSSINGS": "CONTINUOUS",
    "RISER_NUMBERS": "CONTINUOUS",
    "RISER_LINES": "CONTINUOUS",
    "CENTRE_LINE": "DASHDOT",
    "STAKES": "CONTINUOUS",
}

Point = tuple[float, float]


def section_dxf(profile: Profile, plan: SetOut, width_m: float | None) -> str:
    """The drawing as DXF text; the same input gives the same bytes. Refused where ezdxf is not installed."""
    try:
        from ezdxf import options  # type: ignore[attr-defined]
        from ezdxf.filemanagement import new
    except ImportError:
        raise Refused("no_ezdxf", "DXF needs the extra: pip install 'risewalk[sheets]'; SVG works without") from None

    kept = options.write_fixed_meta_data_for_testing
    # Otherwise each file carries its own time and identifiers, and equal drawings differ.
    options.write_fixed_meta_data_for_testing = True
    try:
        document = new("R2010", setup=["linetypes"], units=METRES)
        for name, linetype in LAYERS.items():
            document.layers.add(name, linetype=linetype)
        space = document.modelspace()
        _section(space, profile.ground(), plan)
        _plan(space, plan, width_m, _plan_level(plan))
        # The library keeps its classes in a set, whose order differs from one run to the next.
        classes = document.classes
        classes.add_required_classes(document.dxfversion)
        classes.classes = dict(sorted(classes.classes.items()))
        out = io.StringIO()
        document.write(out)
        return out.getvalue()
    finally:
        options.write_fixed_meta_data_for_testing = kept


def _section(space: "Modelspace", ground: Ground, plan: SetOut) -> None:
    heights = zip(ground.stations_m.tolist(), ground.elevations_m.tolist(), strict=True)
    _polyline(space, list(heights), "GROUND")
    _polyline(space, plan.finished_line(), "FINISHED")
    for mark in plan.marks:
        for bed in mark.beds:
            for layer, front, back in (
                ("BASE_TOP", bed.front.base_top_m, bed.back.base_top_m),
                ("SUBGRADE", bed.front.subgrade_m, bed.back.subgrade_m),
            ):
                if front is not None and back is not None:
                    _polyline(space, [(bed.start_m, front), (bed.end_m, back)], layer)
        assert mark.front.finished_m is not None
        _text(space, str(mark.riser), (mark.face_station_m, mark.front.finished_m), "RISER_NUMBERS")
        for station in mark.ground_crossings_m:
            at = (station, ground.at(station))
            space.add_point(at, dxfattribs={"layer": "GROUND_CROSSINGS"})
            _text(space, f"g{mark.riser}", at, "GROUND_CROSSINGS")


def _plan(space: "Modelspace", plan: SetOut, width_m: float | None, level: float) -> None:
    start, end = plan.marks[0].face_station_m, plan.end_station_m
    _polyline(space, [(start, level), (end, level)], "CENTRE_LINE")
    half = (width_m or 0.0) / 2
    if half:
        lines = [*(m.face_station_m for m in plan.marks), end]
        for station in lines:
            _polyline(space, [(station, level - half), (station, level + half)], "RISER_LINES")
        for side in (level - half, level + half):
            _polyline(space, [(start, side), (end, side)], "FINISHED")
    for stake in plan.stakes:
        # Left of the line as seen going up is above the centre line on paper.
        at = (stake.station_m, level + (stake.offset_m if stake.side == "left" else -stake.offset_m))
        space.add_circle(at, 0.025, dxfattribs={"layer": "STAKES"})
        _text(space, stake.name, at, "STAKES")


def _plan_level(plan: SetOut) -> float:
    heights = [
        h for m in plan.marks for h in (m.front.subgrade_m, m.front.ground_m, m.front.finished_m) if h is not None
    ]
    return min([plan.foot_m, *heights]) - GAP_M - max((s.offset_m for s in plan.stakes), default=0.0)


def _polyline(space: "Modelspace", points: Sequence[Point], layer: str) -> None:
    attributes: dict[str, Any] = {"layer": layer}
    space.add_lwpolyline(points, dxfattribs=attributes)


def _text(space: "Modelspace", words: str, at: Point, layer: str) -> None:
    attributes: dict[str, Any] = {"layer": layer, "insert": (at[0], at[1] + TEXT_M / 2)}
    space.add_text(words, height=TEXT_M, dxfattribs=attributes)
