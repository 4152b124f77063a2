"""`replay`, `verify`, `import` and `export` on a recorded walk, and a session as a port."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from logger.session.events import Draft, EventKind
from logger.session.store import Session

LEVEL = """
[instrument]
name = "Hose level, lines"
[decoder]
kind = "lines"
pattern = '(?P<height>\\d+)'
"""


@pytest.fixture
def walked(run: Any, level: Any, instrument: Path, tmp_path: Path) -> Path:
    """A walk of four tags, one struck out."""
    lines = "benchmark BM\nstation 1 # by the [/oak]\nsetup\nbenchmark BM\nstation 2\nstrike 2 # slipped\n"
    done = run("record", "a.walk", "--port", level.port, "--instrument", instrument, "--job", "Oak Lane", stdin=lines)
    assert done.returncode == 0, done.stderr
    return tmp_path / "a.walk"


def objects(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_a_replay_tells_what_the_recorder_told(run: Any, walked: Path) -> None:
    done = run("replay", walked, "--at-once", "--json")
    assert done.returncode == 0, done.stderr
    told = objects(done.stdout)
    kinds = [t["event"] for t in told if t["event"] != "reading"]
    assert kinds == ["opened", "observed", "observed", "setup", "observed", "observed", "struck", "closed"]
    tags = [t for t in told if t["event"] == "observed"]
    assert [t["n"] for t in tags] == [1, 2, 3, 4]
    readings = [t for t in told if t["event"] == "reading"]
    assert len(readings) > 5
    assert any(r["steady"] for r in readings)
    assert run("replay", walked, "--at-once", "--json").stdout == done.stdout


def test_a_replay_for_people_shows_escape_codes_as_text(run: Any, walked: Path) -> None:
    shown = run("replay", walked).stdout
    assert "by the [/oak]" in shown
    assert "slipped" in shown
    assert all(c.isprintable() or c == "\n" for c in shown)


def test_a_paced_replay_takes_its_time(run: Any, walked: Path) -> None:
    fast = run("replay", walked, "--speed", "50", "--json")
    assert objects(fast.stdout) == objects(run("replay", walked, "--at-once", "--json").stdout)


def test_verify_names_the_first_bad_event(run: Any, walked: Path) -> None:
    connection = sqlite3.connect(walked)
    n = connection.execute("SELECT n FROM event WHERE kind = 'observed' LIMIT 1").fetchone()[0]
    connection.execute("DROP TRIGGER no_update")
    connection.execute(f"UPDATE event SET body = replace(body, 'BM', 'TP') WHERE n = {n}")
    connection.execute(
        "CREATE TRIGGER no_update BEFORE UPDATE ON event BEGIN\n"
        "    SELECT RAISE(ABORT, 'a session is never changed, only added to'); END"
    )
    connection.commit()
    connection.close()
    done = run("verify", walked)
    assert done.returncode == 4
    told = json.loads(done.stdout)
    assert (told["ok"], told["event"]) == (False, n)
    assert f"event {n} (observed) was changed" in done.stderr


def test_verify_knows_a_digest_from_paper(run: Any, walked: Path) -> None:
    digest = json.loads(run("verify", walked).stdout)["digest"]
    events = json.loads(run("verify", walked, "--digest", digest[:12].upper()).stdout)
    assert events["printed_at"] == events["events"]
    cut = sqlite3.connect(walked)
    cut.execute("DROP TRIGGER no_delete")
    cut.execute("DELETE FROM event WHERE n = (SELECT max(n) FROM event)")
    cut.execute(
        "CREATE TRIGGER no_delete BEFORE DELETE ON event BEGIN\n"
        "    SELECT RAISE(ABORT, 'a session is never changed, only added to'); END"
    )
    cut.commit()
    cut.close()
    told = json.loads(run("verify", walked).stdout)
    assert (told["ok"], told["closed"]) == (True, False), "a cut tail shows only as a session that was not closed"
    assert run("verify", walked, "--digest", digest).returncode == 4
    assert run("verify", walked, "--digest", "xyz").returncode == 2


def test_what_is_no_session_is_told_by_all(run: Any, tmp_path: Path) -> None:
    (tmp_path / "odd.walk").write_text("not a session")
    for command in (("verify", "odd.walk"), ("replay", "odd.walk"), ("export", "odd.walk", "--to", "jsonl", "out")):
        done = run(*command)
        assert done.returncode == 4
        assert "not a session" in done.stderr
        assert "Traceback" not in done.stderr
    assert run("verify", "none.walk").returncode == 4
    assert not (tmp_path / "out").exists()


def test_a_session_goes_out_and_comes_back(run: Any, walked: Path, tmp_path: Path) -> None:
    assert run("export", walked, "--to", "jsonl", "a.jsonl").returncode == 0
    done = run("import", "a.jsonl", "b.walk", "--json")
    assert json.loads(done.stdout)["ok"]
    assert run("export", "b.walk", "--to", "jsonl", "-").stdout == (tmp_path / "a.jsonl").read_text(encoding="utf-8")
    assert run("verify", "b.walk").stdout == run("verify", walked).stdout
    assert run("import", "a.jsonl").returncode == 5, "a.walk exists"
    assert run("export", walked, "--to", "walk", "copy.walk").returncode == 0
    assert run("verify", "copy.walk").stdout == run("verify", walked).stdout


def test_levelling_notes_become_a_session(run: Any, tmp_path: Path) -> None:
    (tmp_path / "page.csv").write_text("point,bs,is,fs,known,station\nBM,1.5,,,10,\nP1,,1.2,,,2\nBM,,,1.5,,\n")
    assert run("import", "--levels", "page.csv").returncode == 0
    assert json.loads(run("verify", "page.walk").stdout)["observations"] == 3
    (tmp_path / "bad.csv").write_text("point,bs,fs,known\nA,one,,0\nB,,two,\n")
    done = run("import", "--levels", "bad.csv", "bad.walk")
    assert done.returncode == 4
    assert "line 2" in done.stderr
    assert "line 3" in done.stderr


def test_a_session_is_a_port(run: Any, walked: Path, tmp_path: Path) -> None:
    shutil.copy(walked, tmp_path / "source of it.walk")
    port = f"replay://{tmp_path}/source%20of%20it.walk"
    done = run("record", "again.walk", "--port", port, stdin="benchmark BM\nforce station 1\n")
    assert done.returncode == 0, done.stderr
    told = objects(done.stdout)
    assert [t["ok"] for t in told] == [True, True]
    assert told[0]["height_m"] == pytest.approx(1.0001, abs=1e-3)
    assert json.loads(run("verify", "again.walk").stdout)["ok"]


@pytest.mark.parametrize(
    ("port", "said"),
    [
        ("replay://none.walk", "no such file"),
        ("replay://~nobody-here/a.walk", "no such user"),
        ("replay://a.walk?speed=x", "numbers"),
        ("replay://a.walk?x=1", "replay://FILE"),
    ],
)
def test_a_session_that_cannot_be_played_is_a_missing_port(run: Any, walked: Path, *, port: str, said: str) -> None:
    done = run("record", "again.walk", "--port", port, "--instrument", "level.toml")
    assert done.returncode == 3
    assert said in done.stderr


@pytest.mark.parametrize("port", ["spy:///dev/null?file=made", "socket://localhost:9", "replay://a.walk"])
def test_a_port_in_a_file_from_elsewhere_opens_no_file_and_no_network(run: Any, port: str, tmp_path: Path) -> None:
    opened = {"tape": "level", "job": "", "port": port, "instrument": {"text": LEVEL, "sha256": ""}}
    with Session.create(tmp_path / "got.walk") as session:
        session.append([Draft(0, 0, EventKind.OPENED, opened)])
    done = run("record", "got.walk")
    assert (done.returncode, done.stdout) == (2, "")
    assert f"recorded on {port}" in done.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["got.walk"]


def test_going_on_says_what_is_there_and_whether_the_zero_counts(run: Any, walked: Path, level: Any) -> None:
    done = run("record", walked, stdin="")
    assert "4 observations, the last (station 2) " in done.stderr
    assert "heights go on from BM" in done.stderr
    elsewhere = run("record", walked, "--port", "/dev/no-such-port", "--instrument", "level.toml")
    assert "observe the zero again first" in elsewhere.stderr
    assert elsewhere.returncode == 3


def test_a_device_is_written_to_and_never_replaced(run: Any, walked: Path, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    reader = os.open(tmp_path / "pipe", os.O_RDONLY | os.O_NONBLOCK)
    assert run("export", walked, "--to", "jsonl", "pipe").returncode == 0
    assert os.read(reader, 1_000_000).startswith(b'{"schema":"risewalk.session/1"}\n')
    os.close(reader)
    assert (tmp_path / "pipe").is_fifo()
    for form in ("jsonl", "walk"):
        done = run("export", walked, "--to", form, "nowhere/copy")
        assert (done.returncode, "Errno" in done.stderr) == (5, False)


@pytest.mark.parametrize(
    "words", ["replay a.walk --speed nan", "replay a.walk --pause inf", "record a.walk --timeout nan"]
)
def test_no_number_is_no_number(run: Any, words: str) -> None:
    done = run(*words.split())
    assert (done.returncode, "Traceback" in done.stderr) == (2, False)
    assert "not a number that can be" in done.stderr


def test_a_copy_of_the_session_is_no_stream(run: Any, walked: Path, tmp_path: Path) -> None:
    done = run("export", walked, "--to", "walk", "-")
    assert done.returncode == 2
    assert "name one instead of -" in done.stderr
    assert not (tmp_path / "-").exists()


@pytest.mark.parametrize("words", ["rules", "manual", "instruments"])
def test_a_reader_that_has_seen_enough_is_no_failure(words: str) -> None:
    hears, says = os.pipe()
    os.close(hears)
    with os.fdopen(says, "wb") as gone:
        done = subprocess.run(
            [sys.executable, "-m", "tui.cli", words], stdout=gone, stderr=subprocess.PIPE, timeout=60, check=False
        )
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the device that is always full is of Linux")
def test_a_full_disk_is_said_without_its_number() -> None:
    with Path("/dev/full").open("wb") as full:
        words = [sys.executable, "-m", "tui.cli", "rules"]
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (5, "risewalk: No space left on device\n")
