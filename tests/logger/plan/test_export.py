"""Files for other programs, each read back by something that is not ours."""

import csv
import io
import json
import os
import shutil
import struct
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from drivers.lengths import Units
from logger.construction import Construction
from logger.export.documents import setout_document
from logger.export.dxf import LAYERS, section_dxf
from logger.export.landxml import NAMESPACE, landxml
from logger.export.png import png
from logger.export.tables import marks_csv
from logger.profile import Profile, ProfilePoint
from logger.setout import SetOut, marks_of
from logger.sheets.section import Section
from logger.steps.option import Option

ezdxf = pytest.importorskip("ezdxf")


@pytest.fixture
def plan(slope: Profile, option: Option, build: Construction) -> SetOut:
    return marks_of(slope, option, build)


def test_dxf_passes_its_audit_and_holds_the_drawing(slope: Profile, plan: SetOut) -> None:
    text = section_dxf(slope, plan, 1.2)
    drawing = ezdxf.read(io.StringIO(text))
    audit = drawing.audit()
    assert (len(audit.errors), len(audit.fixes)) == (0, 0)
    assert drawing.header["$INSUNITS"] == 6
    space = drawing.modelspace()
    assert {e.dxf.layer for e in space} == set(LAYERS)
    ground = next(e for e in space.query("LWPOLYLINE") if e.dxf.layer == "GROUND")
    assert [p[:2] for p in ground.get_points()] == pytest.approx([(0.0, 0.0), (1.0, 0.1), (3.0, 0.7), (4.0, 0.7)])
    finished = next(e for e in space.query("LWPOLYLINE") if e.dxf.layer == "FINISHED")
    assert finished.get_points()[-1][:2] == pytest.approx((3.0, 0.7))
    stakes = space.query('CIRCLE[layer=="STAKES"]')
    assert len(stakes) == len(plan.stakes)


def test_equal_drawings_are_equal_bytes(slope: Profile, plan: SetOut) -> None:
    assert section_dxf(slope, plan, 1.2) == section_dxf(slope, plan, 1.2)
    assert landxml(slope, plan) == landxml(slope, plan)
    assert Section(slope.ground(), plan, Units.METRES).draw() == Section(slope.ground(), plan, Units.METRES).draw()


def test_landxml_holds_ground_and_steps(slope: Profile, plan: SetOut) -> None:
    root = ET.fromstring(landxml(slope, plan))
    x = f"{{{NAMESPACE}}}"
    assert root.tag == f"{x}LandXML"
    assert root.find(f"{x}Units/{x}Metric").get("linearUnit") == "meter"
    surfaces = root.findall(f"{x}Alignments/{x}Alignment/{x}Profile/{x}ProfSurf")
    assert [s.get("name") for s in surfaces] == ["ground", "finished steps"]
    numbers = [float(n) for n in surfaces[0].find(f"{x}PntList2D").text.split()]
    assert numbers == [0, 0, 1, 0.1, 3, 0.7, 4, 0.7]
    steps = [float(n) for n in surfaces[1].find(f"{x}PntList2D").text.split()]
    assert steps[-2:] == pytest.approx([3.0, 0.7])


def test_landxml_holds_the_ground_beside_the_line() -> None:
    points = [(0.0, 0.0, 0.0), (1.0, -0.8, 0.3), (1.0, 0.0, 0.2), (2.0, 0.0, 0.4), (2.0, 0.9, 0.5)]
    beside = Profile(tuple(ProfilePoint(x, o, z, 0.001) for x, o, z in points))
    x = f"{{{NAMESPACE}}}"
    sections = ET.fromstring(landxml(beside)).findall(f"{x}Alignments/{x}Alignment/{x}CrossSects/{x}CrossSect")
    assert [s.get("sta") for s in sections] == ["1", "2"]
    assert [s.find(f"{x}CrossSectSurf/{x}PntList2D").text for s in sections] == ["-0.8 0.3 0 0.2", "0 0.4 0.9 0.5"]


def test_png_is_a_picture_of_the_drawing(slope: Profile, plan: SetOut) -> None:
    pytest.importorskip("typst")
    made = png(Section(slope.ground(), plan, Units.METRES).draw())
    assert made.startswith(b"\x89PNG")
    width, _ = struct.unpack(">II", made[16:24])
    assert width == pytest.approx(178 / 25.4 * 200, abs=2)
    assert made == png(Section(slope.ground(), plan, Units.METRES).draw())


def test_csv_reads_back_by_rfc_4180(plan: SetOut) -> None:
    text = marks_csv(plan)
    assert text.count("\r\n") == 1 + len(plan.marks)
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    for row, mark in zip(rows, plan.marks, strict=True):
        assert float(row["face_station_m"]) == pytest.approx(mark.face_station_m, abs=1e-6)
        assert float(row["front_base_top_m"]) == pytest.approx(mark.front.base_top_m, abs=1e-6)
        assert [float(n) for n in row["ground_crossings_m"].split()] == pytest.approx(mark.ground_crossings_m, abs=1e-6)


def test_document_has_every_field_of_a_mark_and_a_stake(plan: SetOut) -> None:
    document = json.loads(json.dumps(setout_document(plan), allow_nan=False))
    assert document["schema"] == "risewalk.setout/1"
    mark, stake = document["marks"][0], document["stakes"][0]
    distances = {
        "riser",
        "face_station_m",
        "nosing_station_m",
        "tape_m",
        "level_m",
        "ground_crossings_m",
        "front",
        "back",
    }
    assert distances <= mark.keys()
    assert set(mark["front"]) == {"finished_m", "base_top_m", "subgrade_m", "ground_m", "dig_m"} == set(mark["back"])
    downs = {"top_m", "down_to_nosing_m", "down_to_base_m", "down_to_subgrade_m"}
    assert {"name", "station_m", "side", "offset_m"} | downs <= stake.keys()


@pytest.mark.skipif(shutil.which("rsvg-convert") is None, reason="rsvg-convert is not installed")
def test_svg_is_drawn_by_another_program(slope: Profile, plan: SetOut, tmp_path: Path) -> None:
    svg = tmp_path / "section.svg"
    svg.write_text(Section(slope.ground(), plan, Units.FEET_INCHES).draw())
    out = tmp_path / "section.png"
    subprocess.run(["rsvg-convert", "--width", "600", str(svg), "--output", str(out)], check=True)
    assert out.read_bytes().startswith(b"\x89PNG")


def test_landxml_is_dated_by_the_walk_it_comes_from(slope: Profile) -> None:
    root = ET.fromstring(landxml(slope, walked="2026-05-04T14:03:22.120000Z"))
    assert (root.get("date"), root.get("time")) == ("2026-05-04", "14:03:22")


def test_landxml_has_the_structure_of_its_schema(slope: Profile, plan: SetOut) -> None:
    """Required attributes and the order of children, as the published schema 1.2 has them."""
    required = {
        "LandXML": {"date", "time", "version"},
        "Metric": {"areaUnit", "linearUnit", "volumeUnit", "temperatureUnit", "pressureUnit"},
        "Application": {"name"},
        "Alignment": {"name", "length", "staStart"},
        "CrossSect": {"sta"},
        "ProfSurf": {"name"},
        "CrossSectSurf": {"name"},
    }
    order = {
        "LandXML": ["Units", "Application", "Alignments"],
        "Alignment": ["CoordGeom", "Profile", "CrossSects"],
        "Line": ["Start", "End"],
    }
    beside = replace(slope, points=(*slope.points, ProfilePoint(4.0, 1.0, 0.8, 0.001)))
    for element in ET.fromstring(landxml(beside, plan)).iter():
        name = element.tag.removeprefix(f"{{{NAMESPACE}}}")
        assert required.get(name, set()) <= set(element.keys()), name
        children = [child.tag.removeprefix(f"{{{NAMESPACE}}}") for child in element]
        if name in order:
            assert children == [child for child in order[name] if child in children], name


@pytest.mark.parametrize("form", ["section_dxf(slope, plan, 1.2)", "landxml(slope, plan)"])
def test_another_run_of_the_program_writes_the_same_bytes(form: str) -> None:
    """Python orders sets anew in every process: with these two seeds the DXF library wrote its classes in two orders."""
    script = f"""
from hashlib import sha256
from logger.construction import Construction, Layers
from logger.export.dxf import section_dxf
from logger.export.landxml import landxml
from logger.profile import Profile, ProfilePoint
from logger.setout import marks_of
from logger.steps.option import Option
slope = Profile(tuple(ProfilePoint(x, 0.0, x / 3, 0.001) for x in (0.0, 1.0, 2.0)))
option = Option(risers=2, treads=2, face_m=0.2, nosing_rise_m=0.2, tread_m=0.4, fall=0.0, landing_fall=0.0,
    depths_m=(0.4, 0.4), face_stations_m=(0.5, 0.9), tops_m=(0.4, 0.6), faces_m=(0.2, 0.2), landings=(), foot_m=0.2,
    ground_above_m2=0.0, ground_below_m2=0.0, fit_m2=0.0, step_rule_m=0.8)
plan = marks_of(slope, option, Construction(width_m=1.2, tread=Layers(unit_m=0.15, base_m=0.1)))
print(sha256({form}.encode()).hexdigest())
"""
    runs = (
        subprocess.run(
            [sys.executable, "-c", script], env=os.environ | {"PYTHONHASHSEED": seed}, capture_output=True, check=True
        ).stdout
        for seed in ("1", "4")
    )
    assert len(set(runs)) == 1
