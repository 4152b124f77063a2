"""`risewalk profile`, `fieldtest` and `import --levels` as a person or a script calls them."""

import json
from pathlib import Path

import pytest
from click import ClickException
from click.testing import CliRunner, Result

from tui.cli import risewalk

LEVELS = Path(__file__).parents[3] / "fixtures" / "levels"


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(risewalk, [str(w) for w in words], standalone_mode=False)


@pytest.fixture
def loop(tmp_path: Path) -> Path:
    session = tmp_path / "loop.walk"
    assert run("import", "--levels", LEVELS / "closed_loop.csv", session).exception is None
    return session


def test_a_walk_that_fails_to_close_still_prints_and_exits_one(loop: Path) -> None:
    result = run("profile", loop, "--json")
    assert result.return_value == 1
    told = json.loads(result.stdout)
    assert told["schema"] == "risewalk.profile/1"
    assert told["datum"] == {"name": "BM7", "elevation_m": 852.045}
    assert told["closure"]["status"] == "fail"
    assert told["closure"]["misclosure_m"] == pytest.approx(0.010)
    assert {n["name"]: round(n["elevation_m"], 3) for n in told["named"]}["TP2"] == 848.698
    assert set(told["adjustment"]) >= {"redundancy", "sigma0", "drift_m_per_h", "residuals"}


def test_own_tolerance_decides(loop: Path) -> None:
    assert run("profile", loop, "--tolerance", "15 mm").return_value == 0
    assert "DOES NOT CLOSE" in run("profile", loop).stdout


def test_limit_of_a_class_over_a_length(loop: Path) -> None:
    # Ghilani and Wolf, problem 5.12: a loop of 1500 m closes within the third order (14.7 mm), not second order II.
    third = run("profile", loop, "--class", "third", "--length", "1500 m", "--json")
    assert json.loads(third.stdout)["closure"]["tolerance_m"] == pytest.approx(0.0147, abs=5e-5)
    assert third.return_value == 0
    assert run("profile", loop, "--class", "second-2", "--length", "1500 m").return_value == 1
    for wrong in (("--length", "1500 m"), ("--class", "third", "--length", "0"), ("--class", "fifth")):
        assert isinstance(run("profile", loop, *wrong).exception, ClickException)


def test_readings_that_only_check_each_other_are_all_named(tmp_path: Path) -> None:
    (tmp_path / "gross.csv").write_text(
        "point,bs,is,fs,known,station\nBM,1.5,,,10,\n,,1.2,,,0\n,,0.9,,,1\nTP,1.7,,0.5,,\n,,1.25,,,1\nBM,,,2.7,10,\n"
    )
    assert run("import", "--levels", tmp_path / "gross.csv", tmp_path / "gross.walk").exception is None
    told = run("profile", tmp_path / "gross.walk").stdout
    assert "one of observations 3, 6 is wrong; no reading tells which" in told
    assert "suspect: observation 6 (station 1 m); struck, station 1 m moves by -425.0 mm" in told


def test_lines_fit_eighty_columns(tmp_path: Path) -> None:
    (tmp_path / "g.csv").write_text(
        "station_m,offset_m,elevation_m,u_m\n0,0,1,0.001\n1.25,-0.6,1.2,0.001\n1.25,0,1.3,0.001\n"
    )
    for units in ("m", "mm", "ft", "ft-in"):
        table = [
            line
            for line in run("profile", tmp_path / "g.csv", "--units", units).stdout.splitlines()
            if "note" not in line
        ]
        assert max(map(len, table)) <= 80


def test_field_test_answers_three_questions(tmp_path: Path) -> None:
    rows = [f"{s},{1 + 0.0005 * ((i * 7 + s) % 5 - 2):.4f},0.5" for s in (1, 2) for i in range(20)]
    (tmp_path / "pairs.csv").write_text("set,a_m,b_m\n" + "\n".join(rows))
    told = json.loads(run("fieldtest", tmp_path / "pairs.csv", "--sigma", "1 mm", "--json").stdout)
    assert told["schema"] == "risewalk.fieldtest/1"
    assert told["freedom"] == 38
    assert [q["passed"] for q in told["questions"]] == [True, True, True]
