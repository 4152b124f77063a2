"""A port that never speaks, and a line that breaks: what is said, what is kept, what counts afterwards."""

from typing import Any

import pytest

from drivers.errors import PortMissing, PortSilent
from drivers.reading import Link, LinkChanged
from logger.recorder.acquisition import MOST_UPSETS
from logger.recorder.recorder import Recorder
from logger.recorder.reports import Reports
from logger.session.derive import Pipeline
from logger.session.replay import survey
from logger.session.store import Session
from logger.session.verify import verify


async def test_a_lost_link_ends_the_wait_and_asks_for_the_zero_again(site: Any) -> None:
    await site.start(timeout_s=0.3)
    await site.tag("benchmark BM", 1.0)
    waits = await site.waiting("station 1")
    await site.level.change(Link.LOST)
    assert (await waits)["error"] == "link_lost"
    assert (await site.ask("station 1"))["error"] == "link_lost"
    assert (await site.ask("benchmark BM"))["error"] == "link_lost"
    await site.level.change(Link.LIVE)
    assert (await site.ask("station 1"))["error"] == "needs_zero"
    assert (await site.ask("status"))["needs_zero"] is True
    assert (await site.tag("benchmark BM", 4.0))["above_zero_m"] == 0.0
    assert (await site.tag("station 1", 4.5))["above_zero_m"] == pytest.approx(0.5, abs=2e-4)
    await site.ask("end")
    assert [o.setup for o in survey(site.path).observations] == [1, 2, 2]
    verify(site.path)


async def test_a_line_cut_by_a_gap_is_not_joined(site: Any) -> None:
    await site.start()
    site.level.speak("12.")
    await site.level.change(Link.LOST)
    await site.level.change(Link.LIVE)
    waits = await site.waiting("force benchmark BM")
    site.level.speak("5678\r\n")
    site.level.speak("1.0000\r\n")
    assert (await waits)["height_m"] == 1.0


async def test_a_port_that_never_speaks_leaves_no_session(site: Any) -> None:
    site.level.heard.put_nowait(PortSilent("the level", "nothing was heard for 5 s"))
    with pytest.raises(PortSilent):
        await Recorder(site.path, site.settings(), lambda s, c: site.level, site.level.clock()).start()
    assert not list(site.path.parent.iterdir())
    assert site.level.closed == 1


async def test_what_is_heard_before_the_session_is_open_is_kept_behind_its_settings(site: Any) -> None:
    for n in range(100):
        site.level.speak(f"{n}.0\r\n")
    site.level.heard.put_nowait(LinkChanged(site.level.steady_s, Link.LOST, "unplugged at once"))
    await site.start()
    await site.ask("end")
    with Session.open(site.path) as session:
        events = list(session.events())
    assert events[0].kind == "opened"
    heard = b"".join(c.data for e in events if e.kind == "raw" for c in e.chunks())
    assert heard.startswith(b"".join(b"%d.0\r\n" % n for n in range(100)))
    verify(site.path)


async def test_a_missing_port_leaves_an_existing_session_as_it_was(site: Any) -> None:
    await site.start()
    await site.ask("end")
    before = site.path.read_bytes()
    site.level.heard.put_nowait(PortMissing("the level", "plug it in"))
    again = type(site.level)()
    again.heard.put_nowait(PortMissing("the level", "plug it in"))
    with pytest.raises(PortMissing):
        await Recorder(site.path, site.settings(), lambda s, c: again, again.clock()).start()
    assert site.path.read_bytes() == before


async def test_listening_that_breaks_is_a_lost_link_and_the_session_stays(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM")
    site.level.heard.put_nowait(RuntimeError("the driver broke"))
    await site.until(lambda: site.recorder.acquisition.state.link is Link.LOST)
    assert (await site.ask("station 1"))["error"] == "link_lost"
    assert (await site.ask("note still here"))["ok"]


async def test_an_error_of_ours_in_one_chunk_is_a_gap_and_the_day_goes_on(
    site: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    await site.start()
    await site.tag("benchmark BM", 1.0)
    with monkeypatch.context() as broken:
        broken.setattr(Pipeline, "take", lambda *_, **__: 1 / 0)
        assert (await site.tag("station 1"))["error"] == "link_lost"
    assert (await site.ask("station 1"))["error"] == "needs_zero"
    assert (await site.tag("benchmark BM", 1.0))["ok"]
    assert (await site.tag("station 1", 1.5))["above_zero_m"] == pytest.approx(0.5, abs=2e-4)
    await site.ask("end")
    verify(site.path)


async def test_errors_of_ours_without_end_are_a_lost_line(site: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    await site.start()
    monkeypatch.setattr(Pipeline, "feed", lambda *_: 1 / 0)
    for _ in range(MOST_UPSETS + 1):
        site.level.speak()
    await site.until(lambda: site.recorder.acquisition.state.link is Link.LOST)
    assert (await site.ask("note still here"))["ok"]


async def test_an_error_of_ours_in_a_command_is_its_answer(site: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    await site.start()
    with monkeypatch.context() as broken:
        broken.setattr(Reports, "listing", lambda _: 1 / 0)
        broken.setattr(Reports, "entry", lambda *_: 1 / 0)
        assert (await site.ask("list"))["ok"] is False
        assert (await site.ask("face 1 0.15"))["message"] == "division by zero"
    assert (await site.ask("list"))["ok"]
