"""The session file: only added to, one writer, readers at any time, marks that keep strangers out."""

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.errors import CannotWrite, CorruptSession, FileError, InUse, NewerSession, NotASession
from logger.session.events import GENESIS, Draft, EventKind, canonical
from logger.session.lock import WriterLock
from logger.session.store import FIRST_US, LAST_US, Session

NOTE = Draft(5, 6, EventKind.NOTED, {"text": "more"})


def test_events_come_back_in_order_and_whole(written: Path, sample: list[Draft]) -> None:
    with Session.open(written) as session:
        events = list(session.events())
    assert [(e.at_us, e.t_us, e.kind, e.body, e.raw) for e in events] == [
        (d.at_us, d.t_us, d.kind, dict(d.body), d.raw) for d in sample
    ]
    assert [e.n for e in events] == list(range(1, 12))


def test_a_closed_session_is_one_plain_file(written: Path) -> None:
    assert [p.name for p in written.parent.iterdir()] == ["slope.walk"]
    assert oct(written.stat().st_mode & 0o777) == oct(0o644 & ~current_umask())


def current_umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE event SET at_us = 0 WHERE n = 2",
        "DELETE FROM event WHERE n = 11",
        "INSERT OR REPLACE INTO event SELECT n, 0, t_us, kind, body, raw, digest FROM event WHERE n = 3",
        "INSERT INTO event SELECT 13, at_us, t_us, kind, body, raw, digest FROM event WHERE n = 1",
        "INSERT INTO event SELECT 0, at_us, t_us, kind, body, raw, digest FROM event WHERE n = 1",
        "INSERT INTO event SELECT 12, at_us, t_us, kind, body, 'text', digest FROM event WHERE n = 1",
    ],
)
def test_a_general_tool_cannot_change_it_by_accident(written: Path, statement: str) -> None:
    before = written.read_bytes()
    connection = sqlite3.connect(written)
    with pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)
    connection.close()
    assert written.read_bytes() == before


def test_a_second_writer_is_told_who_the_first_is(written: Path) -> None:
    with Session.resume(written):
        with pytest.raises(InUse, match=rf"in use by .*process {os.getpid()}"):
            Session.resume(written)
        with Session.open(written) as reader:
            assert reader.events_saved == 11
    Session.resume(written).close()


def test_a_second_writer_by_another_name_is_told_too(written: Path, tmp_path: Path) -> None:
    (tmp_path / "other.walk").symlink_to(written)
    with Session.resume(written), pytest.raises(InUse):
        Session.resume(tmp_path / "other.walk")
    with Session.resume(tmp_path / "other.walk") as session:
        session.append([NOTE])
    assert sorted(p.name for p in tmp_path.iterdir()) == ["other.walk", "slope.walk"]


def test_a_lock_that_was_removed_is_taken_again_before_anything_is_added(written: Path) -> None:
    with Session.resume(written) as session:
        WriterLock(written).path.unlink()
        session.append([NOTE])
        with pytest.raises(InUse):
            Session.resume(written)
        WriterLock(written).path.unlink()
        with WriterLock(written), pytest.raises(InUse):
            session.append([NOTE])


def test_the_lock_of_a_dead_writer_is_free(written: Path) -> None:
    code = "import os, sys; from logger.session.store import Session; Session.resume(sys.argv[1]); os._exit(9)"
    assert subprocess.run([sys.executable, "-c", code, str(written)], check=False).returncode == 9
    assert WriterLock(written).path.exists()
    Session.resume(written).close()
    assert not WriterLock(written).path.exists()


def test_readers_see_what_is_saved_while_a_writer_works(written: Path) -> None:
    with Session.resume(written) as writer:
        for count in range(12, 40):
            writer.append([NOTE])
            with Session.open(written) as reader:
                assert (reader.events_saved, reader.digest) == (count, writer.digest)


def test_a_reader_at_work_does_not_stop_the_writer(written: Path) -> None:
    with Session.open(written) as reader:
        events = reader.events()
        next(events)
        writer = Session.resume(written)
        writer.append([NOTE] * 500)
        writer.close()
        assert len(list(events)) == 10
    with Session.open(written) as again:
        assert again.events_saved == 511


def test_what_is_appended_together_is_saved_together_or_not_at_all(written: Path) -> None:
    with Session.resume(written) as session:
        before = session.digest
        with pytest.raises(ValueError, match="JSON compliant"):
            session.append([NOTE, Draft(1, 1, EventKind.NOTED, {"value": float("nan")})])
        assert (session.events_saved, session.digest) == (11, before)
        session.append([NOTE, NOTE])
        assert session.events_saved == 13


@pytest.mark.parametrize("at_us", [FIRST_US - 1, LAST_US + 1])
def test_a_time_outside_any_calendar_is_neither_added_nor_read(
    written: Path, tamper: Callable[[Path, str], None], at_us: int
) -> None:
    with Session.resume(written) as session:
        with pytest.raises(CannotWrite, match="clock is outside the years 1 to 9999"):
            session.append([NOTE, Draft(at_us, 1, EventKind.NOTED, {"text": ""})])
        session.append([NOTE, Draft(min(max(at_us, FIRST_US), LAST_US), 1, EventKind.NOTED, {"text": ""})])
    with Session.open(written) as session:
        assert [e.at[:4] for e in session.events(after=12)] == ["0001" if at_us < 0 else "9999"]
    tamper(written, f"UPDATE event SET at_us = {at_us} WHERE n = 3")
    with Session.open(written) as session, pytest.raises(CorruptSession, match="not in the form") as caught:
        list(session.events())
    assert caught.value.event == 3


def test_a_full_disk_is_said_and_loses_nothing_saved(tmp_path: Path) -> None:
    session = Session.create(tmp_path / "full.walk")
    session.append([NOTE])
    session._connection.execute("PRAGMA max_page_count = 12")

    def fill() -> None:
        for _ in range(100):
            session.append([Draft(1, 1, EventKind.RAW, {}, bytes(3000))])

    with pytest.raises(CannotWrite, match="disk is full"):
        fill()
    saved = session.events_saved
    assert saved > 1
    session._connection.execute("PRAGMA max_page_count = 1000000")
    session.append([NOTE])
    session.close()
    with Session.open(tmp_path / "full.walk") as again:
        assert again.events_saved == saved + 1
        assert again.sound() == "ok"


def test_a_file_moved_away_while_recording_is_noticed_before_a_tag_counts_as_saved(written: Path) -> None:
    session = Session.resume(written)
    written.rename(written.with_suffix(".elsewhere"))
    with pytest.raises(CannotWrite, match="moved"):
        session.append([NOTE])
    written.with_suffix(".elsewhere").rename(written)
    session.append([NOTE])
    session.close()


def test_a_read_only_session_is_read_and_not_written(written: Path) -> None:
    with Session.open(written) as session, pytest.raises(CannotWrite, match="opened to be read"):
        session.append([NOTE])


def test_creating_over_something_is_refused(written: Path) -> None:
    with pytest.raises(CannotWrite, match="exists"):
        Session.create(written)
    assert not WriterLock(written).path.exists()


def test_an_empty_file_becomes_a_session(tmp_path: Path) -> None:
    path = tmp_path / "touched.walk"
    path.touch()
    Session.create(path).close()
    with Session.open(path) as session:
        assert (session.events_saved, session.digest) == (0, GENESIS)


@pytest.mark.parametrize("touched", [False, True])
def test_the_log_of_a_session_that_is_gone_is_not_read_into_a_new_one(written: Path, touched: bool) -> None:
    code = (
        "import os, sys; from logger.session.store import Session; from logger.session.events import Draft\n"
        "s = Session.resume(sys.argv[1]); s.append([Draft(1, 1, 'noted', {'text': 'last words'})]); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", code, str(written)], check=False)
    assert written.with_name("slope.walk-wal").stat().st_size > 0
    written.unlink()
    if touched:
        written.touch()
    Session.create(written).close()
    with Session.open(written) as session:
        assert (session.events_saved, session.sound()) == (0, "ok")
    assert written.with_name("slope.walk-wal.left").exists()


def test_no_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match="folder"):
        Session.create(tmp_path / "nowhere" / "slope.walk")


@pytest.mark.parametrize(
    "content", [b"", b"station_m,elevation_m\n0,1\n", b"SQLite format 3\0", bytes(200), b"\x89PNG\r\n" * 40]
)
def test_a_file_that_is_no_session_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "other.walk"
    path.write_bytes(content)
    with pytest.raises(NotASession, match="not a session"):
        Session.open(path)
    assert path.read_bytes() == content


def test_other_refusals_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such file"):
        Session.open(tmp_path / "none.walk")
    with pytest.raises(NotASession, match="not a file"):
        Session.open(tmp_path)


def test_another_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE event (n)")
    connection.close()
    with pytest.raises(NotASession):
        Session.open(path)


def test_a_later_version_is_refused_and_left_as_it_was(written: Path) -> None:
    connection = sqlite3.connect(written)
    connection.execute("PRAGMA user_version = 2")
    connection.close()
    before = written.read_bytes()
    for way in (Session.open, Session.resume):
        with pytest.raises(NewerSession, match="later version"):
            way(written)
    assert written.read_bytes() == before


@pytest.mark.parametrize(
    "script",
    [
        "CREATE TRIGGER more AFTER INSERT ON event BEGIN DELETE FROM event; END",
        "CREATE VIEW peek AS SELECT * FROM event",
        "CREATE TABLE more (x)",
        "DROP TRIGGER no_delete",
    ],
)
def test_tables_and_triggers_that_are_not_ours_are_refused(written: Path, script: str) -> None:
    connection = sqlite3.connect(written)
    connection.execute(script)
    connection.close()
    with pytest.raises(CorruptSession, match="tables or triggers"):
        Session.open(written)


def test_broken_pages_are_said(written: Path) -> None:
    content = bytearray(written.read_bytes())
    content[4096:8192] = bytes([255]) * 4096
    written.write_bytes(content)
    with pytest.raises(CorruptSession, match="damaged"), Session.open(written) as session:
        list(session.events())


def test_the_log_of_a_killed_writer_is_read_where_nothing_can_be_written(written: Path, tmp_path: Path) -> None:
    code = (
        "import os, sys; from logger.session.store import Session; from logger.session.events import Draft\n"
        "s = Session.resume(sys.argv[1]); s.append([Draft(1, 1, 'noted', {'text': 'last words'})]); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", code, str(written)], check=False)
    log = written.with_name("slope.walk-wal")
    assert log.stat().st_size > 0
    folder = tmp_path / "medium"
    folder.mkdir()
    for path in (written, log):
        shutil.copyfile(path, folder / path.name)
    if os.getuid() == 0:
        if subprocess.run(["mount", "--bind", "-o", "ro", folder, folder], capture_output=True, check=False).returncode:
            pytest.skip("running as root, which no folder refuses, and a read-only mount is not allowed here")
        subprocess.run(["mount", "-o", "remount,ro,bind", folder], check=True)
    else:
        folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        with Session.open(folder / "slope.walk") as session:
            assert session.events_saved == 12
        with pytest.raises(CannotWrite, match="cannot be written"):
            Session.resume(folder / "slope.walk")
    finally:
        if os.getuid() == 0:
            subprocess.run(["umount", folder], check=True)
        else:
            folder.chmod(0o700)


def test_a_copy_of_a_live_session_is_whole_and_alone(written: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.walk"
    with Session.resume(written) as session:
        session.append([NOTE])
        session.copy_to(copy)
        with Session.open(copy) as other:
            assert other.digest == session.digest
    assert not list(tmp_path.glob("copy.walk-*"))


def test_a_session_may_be_read_from_another_thread(written: Path) -> None:
    counts: list[int] = []
    with Session.open(written) as session:
        thread = threading.Thread(target=lambda: counts.append(len(list(session.events()))))
        thread.start()
        thread.join()
    assert counts == [11]


def test_canonical_form_is_one_text_for_one_content() -> None:
    assert canonical({"b": 0.1, "a": [1, "ŝ"]}) == '{"a":[1,"ŝ"],"b":0.1}'
