"""The commands on a layout, as typed: results on stdout, one sentence and an exit code for every mistake."""

import csv
import io
import json
import math
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tui.cli import main

ROOT = Path(__file__).parents[2]
CATALOGUE = ROOT / "tui" / "demo" / "catalogue.toml"
BRIEF = """
[steps]
run = "8 m"
width = "1.2 m"
tread = "0.4 m"
landing = "1 m"
fall = "1 %"
riser = "16 cm"
grid = "1 cm"
[layers]
unit = "15 cm"
bedding = "3 cm"
base = "15 cm"
"""
GROUND = [(0.0, 0.0), (2.0, 0.5), (3.0, 0.55), (6.0, 1.6), (8.0, 2.0), (9.0, 2.0)]

Command = Callable[..., tuple[int, str, str]]


@pytest.fixture
def risewalk(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """Run one command line in this process: exit code, stdout, stderr."""

    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["risewalk", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return int(ended.value.code or 0), out, err

    return run


@pytest.fixture
def job(tmp_path: Path) -> tuple[Path, Path]:
    """A ground line and a brief."""
    ground, brief = tmp_path / "ground.csv", tmp_path / "brief.toml"
    ground.write_text("station_m,elevation_m\n" + "".join(f"{x},{z}\n" for x, z in GROUND))
    brief.write_text(BRIEF)
    return ground, brief


def test_setout_follows_the_layout_and_its_definition(risewalk: Command, job: tuple[Path, Path]) -> None:
    ground, brief = job
    code, out, _ = risewalk("setout", ground, "--brief", brief, "--json")
    assert code == 0
    document: dict[str, Any] = json.loads(out)
    _, steps, _ = risewalk("steps", ground, "--brief", brief, "--json")
    options = json.loads(steps)
    best = options["options"][options["chosen"]]
    f, p = best["face_m"], 0.01
    assert [m["face_station_m"] for m in document["marks"]] == pytest.approx(best["face_stations_m"])
    for k, mark in enumerate(document["marks"], start=1):
        x = mark["face_station_m"]
        assert mark["front"]["finished_m"] == pytest.approx(k * f + p * x, abs=1e-9)
        assert mark["front"]["base_top_m"] == pytest.approx(mark["front"]["finished_m"] - 0.18, abs=1e-9)
        assert mark["front"]["subgrade_m"] == pytest.approx(mark["front"]["finished_m"] - 0.33, abs=1e-9)
        for crossing in mark["ground_crossings_m"]:
            below = (k - 1) * f + p * crossing
            assert height(crossing) == pytest.approx(below, abs=1e-9)
    assert all(math.isfinite(m["tape_m"]) for m in document["marks"])


def height(station: float) -> float:
    """The ground by hand."""
    for (x0, z0), (x1, z1) in pairwise(GROUND):
        if x0 <= station <= x1:
            return z0 + (z1 - z0) * (station - x0) / (x1 - x0)
    raise AssertionError("outside the ground")


def test_another_count_is_set_out_or_refused_with_its_cause(risewalk: Command, job: tuple[Path, Path]) -> None:
    ground, brief = job
    code, out, _ = risewalk("setout", ground, "--brief", brief, "--risers", 13, "--json")
    assert (code, len(json.loads(out)["marks"])) == (0, 13)
    code, out, err = risewalk("setout", ground, "--brief", brief, "--risers", 3)
    assert (code, out) == (1, "")
    assert "3 risers" in err


def test_ground_that_was_not_walked_is_not_set_out(risewalk: Command, job: tuple[Path, Path]) -> None:
    code, _, err = risewalk("setout", job[0].with_name("nothing.csv"), "--brief", job[1])
    assert code == 4
    assert "nothing.csv" in err


def test_takeoff_counts_and_prices(risewalk: Command, job: tuple[Path, Path]) -> None:
    ground, brief = job
    code, out, _ = risewalk("takeoff", ground, "--brief", brief, "--json")
    assert code == 0
    bare = json.loads(out)
    assert bare["schema"] == "risewalk.takeoff/1"
    assert bare["total"] is None
    code, out, _ = risewalk("takeoff", ground, "--brief", brief, "--catalogue", CATALOGUE, "--json")
    priced = json.loads(out)
    amounts = [item["amount"] for item in priced["items"] if item["amount"] is not None]
    assert all(re.fullmatch(r"\d+\.\d\d", amount) for amount in amounts)
    assert sum(int(a.replace(".", "")) for a in amounts) == int(priced["total"].replace(".", ""))
    assert [q["alternative"] for q in priced["quotes"]] == ["", "natural stone"]


def test_quantities_as_csv_read_back_by_rfc_4180(risewalk: Command, job: tuple[Path, Path], tmp_path: Path) -> None:
    shop = tmp_path / "yard.toml"
    shop.write_text(
        '[catalogue]\ncurrency = "€"\n[[item]]\nuse = "unit"\nname = \'block, "grey"\'\nper = "m"\nprice = "9.5"'
    )
    words = ("takeoff", job[0], "--brief", job[1], "--catalogue", shop)
    code, out, _ = risewalk(*words, "--csv")
    assert code == 0
    assert out.count("\r\n") == out.count("\n")
    rows = list(csv.DictReader(io.StringIO(out, newline=""), strict=True))
    items = json.loads(risewalk(*words, "--json")[1])["items"]
    assert [row["item"] for row in rows] == [item["item"] for item in items]
    (unit,) = (row for row in rows if row["use"] == "unit")
    assert (unit["item"], unit["currency"], unit["unit"]) == ('block, "grey"', "€", "m")
    assert float(unit["quantity"]) * 9.5 == pytest.approx(float(unit["amount"]), abs=0.005)


def test_what_a_brief_leaves_out_is_named_at_once(risewalk: Command, job: tuple[Path, Path]) -> None:
    ground, brief = job
    brief.write_text(BRIEF.split("[layers]")[0].replace('width = "1.2 m"\n', ""))
    code, _, err = risewalk("takeoff", ground, "--brief", brief)
    assert code == 4
    assert all(place in err for place in ("steps.width", "layers.unit", "layers.base"))
    code, out, _ = risewalk("setout", ground, "--brief", brief, "--json")
    assert code == 0
    assert json.loads(out)["marks"][0]["front"]["base_top_m"] is None


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ('use = "unit"\nname = "a"\nprice = "3"', "without `per`"),
        ('use = "base"\nname = "a"\nper = "t"\nprice = "3"', "give it a length or a density"),
        ('use = "unit"\nname = "a"\n[[item]]\nuse = "unit"\nname = "a"', "there twice"),
    ],
)
def test_wrong_catalogue_is_a_sentence(
    risewalk: Command, job: tuple[Path, Path], tmp_path: Path, item: str, said: str
) -> None:
    catalogue = tmp_path / "yard.toml"
    catalogue.write_text(f"[[item]]\n{item}\n")
    code, _, err = risewalk("takeoff", job[0], "--brief", job[1], "--catalogue", catalogue)
    assert code == 4
    assert said in err


def test_every_sheet_is_self_contained_and_the_same_twice(risewalk: Command, job: tuple[Path, Path]) -> None:
    ground, brief = job
    for kind in ("marks", "cut", "quantities", "quote", "office"):
        words = ("sheet", ground, "--brief", brief, "--kind", kind, "--catalogue", CATALOGUE)
        code, first, _ = risewalk(*words)
        assert code == 0
        assert risewalk(*words)[1] == first
        assert not re.search(r"<script|<link|src=|@import|url\((?!#)|href=", first)
        assert "ocal code and licensed practice govern" in first
    assert "<svg" in risewalk("sheet", ground, "--brief", brief, "--paper", "a4")[1]


def test_pdf_is_the_same_twice_and_holds_the_marks(risewalk: Command, job: tuple[Path, Path], tmp_path: Path) -> None:
    pytest.importorskip("typst")
    ground, brief = job
    made = []
    for name in ("a.pdf", "b.pdf"):
        code, out, _ = risewalk("sheet", ground, "--brief", brief, "--out", tmp_path / name, "--maker", "Hollow Lane")
        assert (code, out) == (0, "")
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
    assert made[0].startswith(b"%PDF-")


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_pdf_text_is_read_back_by_another_program(risewalk: Command, job: tuple[Path, Path], tmp_path: Path) -> None:
    pytest.importorskip("typst")
    ground, brief = job
    out = tmp_path / "marks.pdf"
    assert risewalk("sheet", ground, "--brief", brief, "--out", out, "--maker", "Hollow Lane")[0] == 0
    text = subprocess.run(["pdftotext", "-layout", out, "-"], capture_output=True, text=True, check=True).stdout
    marks = json.loads(risewalk("setout", ground, "--brief", brief, "--json")[1])["marks"]
    assert "Hollow Lane" in text
    assert "located and marked" in text
    for mark in marks:
        base, tape = f"{mark['front']['base_top_m']:.3f} m", f"{mark['tape_m']:.3f} m"
        assert any(base in line and tape in line for line in text.splitlines()), (mark["riser"], base, tape)


def test_own_template_is_used_and_a_broken_one_is_a_sentence(
    risewalk: Command, job: tuple[Path, Path], tmp_path: Path
) -> None:
    pytest.importorskip("typst")
    ground, brief = job
    template, out = tmp_path / "own.typ", tmp_path / "own.pdf"
    template.write_text("#let sheet = json(bytes(sys.inputs.sheet))\n= #sheet.title of ours")
    assert risewalk("sheet", ground, "--brief", brief, "--template", template, "--out", out)[0] == 0
    (tmp_path / "mark.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="4" height="2"/>')
    template.write_text('#image("mark.svg", width: 2cm)\nBuilt by the house')
    assert risewalk("sheet", ground, "--brief", brief, "--template", template, "--out", out)[0] == 0
    template.write_text("#nothing-by-this-name")
    code, _, err = risewalk("sheet", ground, "--brief", brief, "--template", template, "--out", out)
    assert code == 4
    assert "own.typ" in err


def test_export_writes_every_format(risewalk: Command, job: tuple[Path, Path], tmp_path: Path) -> None:
    ground, brief = job
    for form in ("csv", "json", "svg", "png", "dxf", "landxml"):
        out = tmp_path / f"steps.{form}"
        assert risewalk("export", ground, "--to", form, "--brief", brief, out)[0] == 0
        assert out.stat().st_size > 500
    code, out_text, _ = risewalk("export", ground, "--to", "csv", "-")
    assert code == 0
    assert out_text.replace("\r", "").startswith("station_m,offset_m,elevation_m,u_m\n0.000000,")
    assert risewalk("export", ground, "--to", "dxf", tmp_path / "x.dxf")[0] == 2
    assert risewalk("export", ground, "--to", "svg", "--brief", brief, tmp_path / "no" / "x.svg")[0] == 5


def test_quote_without_prices_is_a_usage_error(risewalk: Command, job: tuple[Path, Path]) -> None:
    code, _, err = risewalk("sheet", job[0], "--brief", job[1], "--kind", "quote")
    assert code == 2
    assert "--catalogue" in err


@pytest.mark.parametrize(
    ("words", "brief", "code", "said"),
    [
        (("setout", "--width", "-4 ft"), (), 2, "--width: '-4 ft' must be more than 0"),
        (("takeoff",), ('unit = "15 cm"', 'unit = "-15 cm"'), 4, "layers.unit: '-15 cm' must be at least 0"),
        (("takeoff",), ('base = "15 cm"', ""), 4, "layers.base: is needed for digging and quantities"),
        (("takeoff", "--terms", "terms.toml"), (), 2, "terms go with prices"),
        (("takeoff", "--catalogue", "nothing.toml"), (), 4, "nothing.toml: No such file"),
        (("takeoff", "--catalogue", CATALOGUE, "--alternative", "gold"), (), 4, "there are natural stone"),
        (("setout", "--tolerance", "-1 mm"), (), 2, "for --tolerance: '-1 mm' must be more than nothing"),
        (("sheet", "--out", "marks.docx"), (), 2, "a sheet is written as .html or .htm or .pdf"),
        (("asbuilt", "--built", "nothing.walk"), (), 4, "nothing.walk: there is no such file"),
    ],
    ids=lambda value: " ".join(map(str, value))[:40] if isinstance(value, tuple) else None,
)
def test_what_is_wrong_is_a_sentence_and_nothing_is_guessed(
    risewalk: Command, job: tuple[Path, Path], words: tuple[object, ...], brief: tuple[str, str], code: int, said: str
) -> None:
    ground, path = job
    if brief:
        path.write_text(BRIEF.replace(*brief))
    command, *more = words
    ended, out, err = risewalk(command, ground, "--brief", path, *more)
    assert (ended, out) == (code, "")
    assert said in err


def test_the_help_of_takeoff_names_all_that_a_catalogue_may_hold(risewalk: Command) -> None:
    from logger.catalogue import PER, Head, Item, Sum, Terms, Use

    told = " ".join(risewalk("takeoff", "--help")[1].split())
    fields = [name for table in (Item, Head, Terms, Sum) for name in table.model_fields]
    for word in (*fields, *(use.value for use in Use), *PER):
        assert re.search(rf"\b{word}\b", told), word
