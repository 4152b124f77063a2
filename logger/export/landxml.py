"""The profile as LandXML 1.2: one alignment, the ground and, where there is a layout, the finished steps.

Both are surface profiles (`ProfSurf`), because a riser is a vertical face and a design profile knows only grades.
Stations and heights are metres, heights above the datum of the walk.
"""

from collections.abc import Iterable
from xml.etree import ElementTree as ET

from logger.profile import Profile
from logger.setout import SetOut

UNKNOWN = "1970-01-01T00:00:00Z"
"""The schema wants a date; this one stands where the ground does not come from a session."""
NAMESPACE = "http://www.landxml.org/schema/LandXML-1.2"


def landxml(profile: Profile, plan: SetOut | None = None, *, version: str = "", walked: str = UNKNOWN) -> str:
    """The document as text, dated by when the ground was walked (ISO 8601), so that equal input gives equal bytes."""
    ET.register_namespace("", NAMESPACE)
    date, time = walked[:10], walked[11:19]
    root = ET.Element(_tag("LandXML"), {"version": "1.2", "date": date, "time": time, "language": "English"})
    units = ET.SubElement(root, _tag("Units"))
    metric = {
        "areaUnit": "squareMeter",
        "linearUnit": "meter",
        "volumeUnit": "cubicMeter",
        "temperatureUnit": "celsius",
        "pressureUnit": "HPA",
        "angularUnit": "decimal degrees",
        "directionUnit": "decimal degrees",
    }
    ET.SubElement(units, _tag("Metric"), metric)
    ET.SubElement(root, _tag("Application"), {"name": "risewalk", **({"version": version} if version else {})})
    ground = profile.ground()
    start, end = float(ground.stations_m[0]), float(ground.stations_m[-1])
    alignments = ET.SubElement(root, _tag("Alignments"))
    place = {"name": "line of the steps", "length": _number(end - start), "staStart": _number(start)}
    alignment = ET.SubElement(alignments, _tag("Alignment"), place)
    # An alignment needs its geometry; the line of the steps is straight and lies in a local grid (northing, easting).
    geometry = ET.SubElement(alignment, _tag("CoordGeom"))
    line = ET.SubElement(geometry, _tag("Line"), {"length": _number(end - start)})
    ET.SubElement(line, _tag("Start")).text = f"0 {_number(start)}"
    ET.SubElement(line, _tag("End")).text = f"0 {_number(end)}"
    section = ET.SubElement(alignment, _tag("Profile"), {"name": "profile"})
    _surface(section, "ground", zip(ground.stations_m.tolist(), ground.elevations_m.tolist(), strict=True))
    if plan is not None:
        _surface(section, "finished steps", plan.finished_line())
    _cross_sections(alignment, profile)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _cross_sections(alignment: ET.Element, profile: Profile) -> None:
    """Ground left and right of the line, at every station where it was observed; offsets to the right are positive."""
    stations = sorted({p.station_m for p in profile.points if p.offset_m != 0.0})
    if not stations:
        return
    ground = profile.ground()
    sections = ET.SubElement(alignment, _tag("CrossSects"))
    for station in stations:
        across = {p.offset_m: p.elevation_m for p in profile.points if p.station_m == station}
        across.setdefault(0.0, ground.at(station))
        section = ET.SubElement(sections, _tag("CrossSect"), {"sta": _number(station)})
        surface = ET.SubElement(section, _tag("CrossSectSurf"), {"name": "ground"})
        text = " ".join(f"{_number(offset)} {_number(across[offset])}" for offset in sorted(across))
        ET.SubElement(surface, _tag("PntList2D")).text = text


def _surface(parent: ET.Element, name: str, points: Iterable[tuple[float, float]]) -> None:
    surface = ET.SubElement(parent, _tag("ProfSurf"), {"name": name})
    text = " ".join(f"{_number(x)} {_number(z)}" for x, z in points)
    ET.SubElement(surface, _tag("PntList2D")).text = text


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"


def _number(value: float) -> str:
    return f"{value:.6f}".rstrip("0").rstrip(".") if value else "0"
