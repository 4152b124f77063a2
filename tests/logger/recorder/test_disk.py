"""A disk that refuses, and a file that goes away while it is recorded: nothing answered is lost, and it goes on."""

import asyncio
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from logger.session.verify import verify

Answer = dict[str, Any]


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("logger.recorder.acquisition.TICK_S", 0.01)
    monkeypatch.setattr("logger.recorder.writer.RESCUE_PAUSE_S", 0.0)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


async def test_a_disk_that_refuses_is_said_and_what_was_heard_is_kept(site: Any) -> None:
    recorder = await site.start()
    await site.tag("benchmark BM", 1.0)
    connection = recorder.writer.session._connection
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages}")
    refused: Answer = {"ok": True}
    for n in range(200):
        if not refused["ok"]:
            break
        refused = await site.tag(f"station {n}")
    assert refused["error"] == "cannot_write"
    assert "disk is full" in refused["message"]
    status = await site.ask("status")
    assert status["saved"] is False
    connection.execute("PRAGMA max_page_count = 100000")
    for _ in range(20):
        site.level.speak()
    await site.until(lambda: not recorder.writer.backlog.refusal)
    assert (await site.ask("status"))["saved"] is True, "without waiting for a tag"
    assert (await site.tag("station 999"))["ok"]
    await site.ask("end")
    counts, *_ = verify(site.path)
    assert counts.observations == counts.exact


async def test_what_is_held_while_the_disk_refuses_is_bounded(site: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.recorder.writer.MOST_BACKLOG", 3000)
    recorder = await site.start()
    await site.tag("benchmark BM", 1.0)
    connection = recorder.writer.session._connection
    connection.execute(f"PRAGMA max_page_count = {connection.execute('PRAGMA page_count').fetchone()[0]}")
    while not recorder.acquisition.deaf:
        for _ in range(40):
            site.level.speak()
        await site.level.heard.join()
        await asyncio.sleep(0.01)
    held = recorder.writer.backlog.size
    assert (await site.ask("force station 1"))["error"] == "cannot_write"
    for _ in range(1000):
        site.level.speak()
    await site.level.heard.join()
    assert held <= recorder.writer.backlog.size < held + 3000
    connection.execute("PRAGMA max_page_count = 100000")
    await site.until(lambda: not recorder.acquisition.deaf)
    assert (await site.ask("station 1"))["error"] == "needs_zero"
    assert (await site.tag("benchmark BM", 1.0))["ok"]
    await site.ask("end")
    counts, *_ = verify(site.path)
    assert (counts.observations, counts.exact) == (2, 2)


@pytest.mark.skipif(os.name != "posix" or os.getuid() == 0, reason="no folder refuses root")
async def test_a_folder_made_read_only_while_recording(site: Any, tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    site.path = tmp_path / "job" / "slope.walk"
    await site.start()
    assert (await site.tag("benchmark BM", 1.0))["ok"]
    (tmp_path / "job").chmod(0o500)
    assert (await site.tag("station 1", 1.5))["ok"]
    await site.ask("end")
    counts, *_ = verify(site.path)
    assert counts.exact == 2
    (tmp_path / "job").chmod(0o700)


def removed(path: Path) -> None:
    path.unlink()


def moved(path: Path) -> None:
    path.rename(path.with_name("elsewhere.walk"))


def replaced(path: Path) -> None:
    path.with_name("other").write_text("something else")
    path.with_name("other").replace(path)


def folder_removed(path: Path) -> None:
    shutil.rmtree(path.parent)


@pytest.mark.parametrize(
    ("happens", "found"),
    [
        (removed, "job/slope-rescued.walk"),
        (moved, "job/slope-rescued.walk"),
        (replaced, "job/slope-rescued.walk"),
        (folder_removed, "state/risewalk/slope-rescued.walk"),
    ],
)
async def test_a_file_that_goes_away_is_noticed_and_all_of_it_saved_anew(
    site: Any, tmp_path: Path, *, happens: Callable[[Path], None], found: str
) -> None:
    (tmp_path / "job").mkdir()
    site.path = tmp_path / "job" / "slope.walk"
    recorder = await site.start()
    answered = [await site.tag("benchmark BM", 1.0), await site.tag("station 1", 1.5)]
    told: list[Answer] = []
    recorder.submit("watch on", told.append)
    happens(site.path)
    site.level.wait(1.0)
    await site.until(lambda: any(t.get("event") == "moved" for t in told))
    status = await site.ask("status")
    assert (status["session"], status["saved"], status["needs_zero"]) == (str(tmp_path / found), True, False)
    assert "slope-rescued.walk" in status["message"]
    answered.append(await site.tag("station 2", 2.0))
    assert answered[-1]["ok"]
    ended = await site.ask("end")
    assert ended["session"] == str(tmp_path / found)
    counts, recorded, _ = verify(tmp_path / found, ended["digest"])
    assert [o.n for o in recorded.observations] == [a["n"] for a in answered] == [1, 2, 3]
    assert counts.exact == 3
    assert any("moved, removed or replaced" in e.body.get("text", "") for e in site.events())


def left(path: Path) -> list[str]:
    return sorted(p.name for p in path.parent.glob(f"{path.name}*"))


async def test_a_file_that_was_moved_is_whole_where_it_is(site: Any, tmp_path: Path) -> None:
    recorder = await site.start()
    await site.tag("benchmark BM", 1.0)
    moved(site.path)
    site.level.wait(1.0)
    await site.until(lambda: recorder.moved)
    counts, *_ = verify(tmp_path / "elsewhere.walk")
    assert counts.observations == 1
    assert left(site.path) == []


async def test_a_file_that_cannot_be_saved_anew_is_said_and_goes_on_once_it_is_back(
    site: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    await site.start()
    await site.tag("benchmark BM", 1.0)
    (tmp_path / "state").write_text("no folder")
    shutil.move(tmp_path / "slope.walk", tmp_path / "away")

    def no_copy(session: Any, out: Path) -> None:
        raise OSError("no space")

    monkeypatch.setattr("logger.session.store.Session.copy_to", no_copy)
    refused = await site.tag("station 1")
    assert (refused["ok"], refused["error"]) == (False, "cannot_write")
    assert "put it back" in refused["message"]
    assert (await site.ask("status"))["saved"] is False
    shutil.move(tmp_path / "away", tmp_path / "slope.walk")
    assert (await site.tag("station 1"))["ok"]
    assert [e.kind for e in site.events()][-1] == "observed", "readers see what is saved"
    await site.ask("end")
    counts, *_ = verify(site.path)
    assert (counts.observations, counts.exact) == (2, 2)
