"""Sheets as they are read: on every page what they come from, both unit systems, nothing passed that was not checked."""

import re
import shutil
import subprocess
from dataclasses import replace
from decimal import Decimal
from html import unescape
from pathlib import Path

import pytest

from drivers.lengths import Units
from logger.construction import Construction
from logger.earthworks import Soil, dig
from logger.measures import amount, area, both, density, fine, length, volume
from logger.profile import Profile
from logger.setout import marks_of
from logger.sheets.digging import Dug, cut_sheet
from logger.sheets.document import Cell, Paper, Sheet, Table
from logger.sheets.document import dig as dug
from logger.sheets.html import page
from logger.sheets.marks import marking_sheet
from logger.sheets.pdf import pdf
from logger.sheets.text import plain_text
from logger.steps.option import Option

DIGEST = "0f" * 32
NASTY = 'x"}</style><script>alert(1)</script>\\'


@pytest.fixture
def marking(slope: Profile, option: Option, build: Construction) -> Sheet:
    walked = replace(slope, digest=DIGEST, source="Hollow Lane")
    return marking_sheet(walked, option, marks_of(walked, option, replace(build, edge_m=0.3)), Units.FEET_INCHES)


def test_every_page_says_what_it_comes_from(marking: Sheet, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    told = replace(marking, foot=f"{marking.foot} · walked 2026-05-04 · instrument hose level")
    file = tmp_path / "marks.pdf"
    for paper in Paper:
        file.write_bytes(pdf(told, paper))
        text = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True).stdout
        pages = text.split("\f")[:-1]
        assert len(pages) > 1
        for number, words in enumerate(pages, 1):
            line = " ".join(words.split()).replace(" / ", "/")
            for part in (
                "risewalk",
                DIGEST,
                "± 0.08 in (2.0 mm)",
                "2026-05-04",
                "hose level",
                f"{number}/{len(pages)}",
            ):
                assert part in line, part


def test_a_printed_page_of_html_says_it_too_and_no_name_ends_its_style(marking: Sheet) -> None:
    text = page(replace(marking, foot=f"{DIGEST} {NASTY}", maker=NASTY), Paper.LETTER)
    style = text.split("<style>")[1].split("</style>")[0]
    assert f'content: "{DIGEST} x\\000022\\00007d\\00003c/style' in style
    assert "counter(pages)" in style
    assert text.count("<style>") == text.count("</style>") == 1
    assert "<script" not in text


def test_both_unit_systems_stand_side_by_side() -> None:
    # 1 yd3 is 0.764554857984 m3, 1 ft2 0.09290304 m2, 1 lb 0.45359237 kg, exactly (international yard and pound, 1959).
    assert volume(0.764554857984, Units.FEET_INCHES) == ("1.00 yd³", "0.76 m³")
    assert volume(1.0, Units.METRES) == ("1.00 m³", "1.31 yd³")
    assert area(0.09290304, Units.FEET) == ("1.0 ft²", "0.09 m²")
    assert length(0.1778, Units.FEET_INCHES) == ("0'-7\"", "178 mm")
    assert fine(0.00635, Units.METRES, signed=True) == ("+6.3 mm", "+0.25 in")
    assert fine(-0.00001, Units.METRES, signed=True) == ("0.0 mm", "0.00 in")
    assert both(amount(Decimal("3.5"), "m3")) == "3.5 m³ (4.58 yd³)"
    assert amount(Decimal(34), "each") == ("34 each", "")
    assert density(Decimal(2200), Units.FEET_INCHES) == "137 lb/ft³ (2200 kg/m³)"


def test_fill_too_thin_to_be_shown_is_no_fill() -> None:
    assert dug(-0.0001, Units.FEET_INCHES) == Cell("0'-0\"", "0 mm")
    assert dug(-0.05, Units.METRES).text == "fill 0.050 m"


def test_every_length_of_a_cut_sheet_is_told_twice(slope: Profile, option: Option, build: Construction) -> None:
    plan = marks_of(slope, option, build)
    sheet = cut_sheet(slope, option, Dug(plan, dig(slope, plan, build, Soil())), Units.FEET_INCHES)
    for table in (block for block in sheet.blocks if isinstance(block, Table)):
        for row in table.rows:
            for cell in row:
                assert not re.search(r"\d(\"| yd³| in)$", cell.text) or re.search(r"\d (mm|m³)$", cell.under), cell


def test_a_marking_sheet_warns_before_the_first_spade_and_passes_no_guard(marking: Sheet) -> None:
    text = plain_text(marking)
    first = text.split("Riser lines and base tops")[0]
    assert "Do not dig before buried services are located" in first
    assert re.search(r"[Gg]uards? and handrails: not checked", first)
    for word in ("frost-free", "cut bank can fall", "engineer", "Water and ice"):
        assert word in text.split("Before you dig or build")[1].replace("\n  ", " ")
    assert not re.search(r"guard.{0,40}pass", text)


def test_each_bench_has_its_line_and_the_line_its_name(marking: Sheet) -> None:
    assert "2 landing, edge row" in plain_text(marking)
    assert "2 landing, behind the edge row" in plain_text(marking)
    assert "landing, behind the edge row" in unescape(page(marking, Paper.A4))
