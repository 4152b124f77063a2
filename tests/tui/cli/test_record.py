"""`record` as a script drives it: over a pseudo-terminal, through stdin and stdout, exit codes and all."""

import json
import signal
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Start = Callable[..., Any]


def test_a_script_walks_and_the_session_verifies(run: Any, level: Any, instrument: Path, tmp_path: Path) -> None:
    lines = "benchmark BM 10\nstation 3\n\nstation 6'-3 1/2\" right 1 # gate\nnonsense\nnote done\n"
    done = run("record", "a.walk", "--port", level.port, "--instrument", instrument, "--units", "ft-in", stdin=lines)
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 0, done.stderr
    assert [a["ok"] for a in answers] == [True, True, True, False, True]
    assert answers[0]["above_zero_m"] == pytest.approx(3.048)
    assert answers[2]["station_m"] == pytest.approx(1.9177)
    assert answers[3]["error"] == "unknown_command"
    assert [p.name for p in tmp_path.glob("a.walk*")] == ["a.walk"]
    checked = run("verify", "a.walk")
    assert checked.returncode == 0
    told = json.loads(checked.stdout)
    assert (told["ok"], told["profile_identical"], told["observations"]) == (True, True, 3)


def test_a_session_is_continued(run: Any, level: Any, instrument: Path) -> None:
    options = ("record", "a.walk", "--port", level.port, "--instrument", instrument)
    run(*options, stdin="benchmark BM\nstation 1\n")
    again = run(*options, stdin="status\nstation 2\nend\nnote never read\n")
    status, station, ended = (json.loads(line) for line in again.stdout.splitlines())
    assert (status["counts"]["observations"], status["setup"], status["last_tag"]["n"]) == (2, 1, 2)
    assert (station["ok"], station["n"], station["setup"]) == (True, 3, 1)
    assert ended["event"] == "ended"
    assert again.returncode == 0
    alone = run("record", "a.walk", stdin="")
    assert alone.returncode == 0, "port and instrument are known from the session"


def test_a_missing_port_is_said_before_anything_is_made(run: Any, instrument: Path, tmp_path: Path) -> None:
    done = run("record", "a.walk", "--port", "/dev/no-such-port", "--instrument", instrument)
    assert (done.returncode, done.stdout) == (3, "")
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.glob("*a.walk*"))


def test_a_silent_port_is_said_before_anything_is_made(run: Any, level: Any, instrument: Path, tmp_path: Path) -> None:
    level.silence()
    done = run("record", "a.walk", "--port", level.port, "--instrument", instrument)
    assert done.returncode == 3
    assert "nothing was heard" in done.stderr
    assert not list(tmp_path.glob("*a.walk*"))


def test_files_that_cannot_be_used_have_their_exit_codes(
    run: Any, level: Any, instrument: Path, tmp_path: Path
) -> None:
    (tmp_path / "notes.walk").write_text("station_m,elevation_m\n0,0\n")
    newer = sqlite3.connect(tmp_path / "newer.walk")
    newer.execute("PRAGMA application_id = 0x52535754")
    newer.execute("PRAGMA user_version = 9")
    newer.execute("CREATE TABLE later (x)")
    newer.close()
    (tmp_path / "wrong.toml").write_text("[instrument]\n[decoder]\nkind = 'lines'\n")
    for file, instrument_file, code, said in (
        ("notes.walk", instrument, 4, "not a session"),
        ("newer.walk", instrument, 4, "later version"),
        ("nowhere/a.walk", instrument, 5, "cannot be written"),
        ("a.walk", tmp_path / "wrong.toml", 4, "instrument.name"),
    ):
        done = run("record", file, "--port", level.port, "--instrument", instrument_file)
        assert (done.returncode, done.stdout) == (code, ""), done.stderr
        assert said in done.stderr
        assert "Traceback" not in done.stderr
    for wrong in (("--port", level.port), ("--instrument", instrument)):
        assert run("record", "a.walk", *wrong).returncode == 2
    assert not (tmp_path / "a.walk").exists()


def test_a_second_recorder_is_told_and_the_first_goes_on(run: Any, record: Start, level: Any, instrument: Path) -> None:
    first = record("a.walk", "--port", level.port, "--instrument", instrument)
    assert first.ask("benchmark BM")["ok"]
    second = run("record", "a.walk", "--port", level.port, "--instrument", instrument)
    assert second.returncode == 5
    assert json.loads(second.stdout)["error"] == "in_use"
    assert f"process {first.process.pid}" in second.stderr
    assert first.ask("station 1")["ok"]
    assert first.end()[0] == 0


def test_a_pulled_cable_is_waited_for(record: Start, level: Any, instrument: Path) -> None:
    recorder = record("a.walk", "--port", level.port, "--instrument", instrument, "--timeout", "1")
    assert recorder.ask("benchmark BM")["ok"]
    level.unplug()
    assert recorder.ask("station 1")["error"] == "link_lost"
    status = recorder.ask("status")
    assert status["link"] in {"lost", "waiting", "searching", "opening"}
    assert status["needs_zero"] is True
    assert recorder.ask("note still here")["ok"]
    code, _, said = recorder.end()
    assert (code, said) == (0, "")


@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_a_signal_closes_the_session(run: Any, record: Start, level: Any, *, instrument: Path, name: str) -> None:
    before = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGTERM, signal.SIGHUP))  # as the screen that starts it
    try:
        recorder = record("a.walk", "--port", level.port, "--instrument", instrument)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    assert recorder.ask("benchmark BM")["ok"]
    recorder.process.send_signal(getattr(signal, name))
    assert recorder.process.wait(10) == 0
    told = json.loads(run("verify", "a.walk").stdout)
    assert told["observations"] == 1
    assert "closed" in run("replay", "a.walk").stdout


def test_a_killed_recorder_leaves_every_answered_tag(run: Any, record: Start, level: Any, instrument: Path) -> None:
    recorder = record("a.walk", "--port", level.port, "--instrument", instrument)
    assert recorder.ask("benchmark BM")["ok"]
    assert recorder.ask("station 1")["ok"]
    recorder.process.kill()
    recorder.process.wait()
    assert json.loads(run("verify", "a.walk").stdout)["observations"] == 2
    again = record("a.walk")
    assert again.ask("station 2")["n"] == 3


def test_watching_is_silent_until_asked_for(record: Start, level: Any, instrument: Path) -> None:
    recorder = record("a.walk", "--port", level.port, "--instrument", instrument)
    assert recorder.ask("watch on")["on"] is True
    readings = [recorder.answer() for _ in range(5)]
    assert all(r["event"] in {"reading", "link"} for r in readings)
    assert readings[-1]["height_m"] == pytest.approx(1.0001, abs=1e-3)
    off = recorder.ask("watch off")
    while "ok" not in off:
        off = recorder.answer()
    assert recorder.ask("status")["ok"]


def test_ten_kilobytes_and_escape_codes_are_refused_politely(record: Start, level: Any, instrument: Path) -> None:
    recorder = record("a.walk", "--port", level.port, "--instrument", instrument)
    assert recorder.ask("note " + "x" * 10_000)["error"] == "unknown_command"
    assert recorder.ask("\x1b[31mstation 3")["error"] == "unknown_command"
    assert recorder.ask("point \x1b[31m")["error"] == "unknown_command"
    assert recorder.ask("note \x1b[31m [/x]")["ok"]
