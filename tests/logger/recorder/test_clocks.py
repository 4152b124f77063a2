"""Clocks that jump: set back and forward or out of the calendar, a machine that slept, a program that was not run."""

import threading
from typing import Any

import pytest

from logger.recorder.clock import SessionClock, slept_s, steady_s
from logger.session.played import played
from logger.session.replay import survey
from logger.session.store import Session
from logger.session.verify import verify

HOUR_US = 3_600_000_000


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.recorder.acquisition.TICK_S", 0.01)


def noted(site: Any) -> list[dict[str, Any]]:
    """Clock events but those of a stall, which a busy machine may add."""
    return [e.body for e in site.events() if e.kind == "clock" and not e.body.get("cut")]


@pytest.mark.parametrize("set_us", [-HOUR_US, HOUR_US])
async def test_a_clock_set_by_an_hour_is_noted_and_changes_no_order(site: Any, set_us: int) -> None:
    await site.start()
    await site.tag("benchmark BM")
    site.level.utc_us += set_us
    await site.until(lambda: noted(site))
    assert (await site.tag("station 1"))["ok"], "the zero still counts"
    await site.ask("end")
    assert noted(site) == [{"asleep_us": 0, "gap": False, "set_us": set_us}]
    observed = survey(site.path).observations
    assert 0 < observed[1].t_s - observed[0].t_s < 60
    assert observed[0].setup == observed[1].setup
    verify(site.path)


@pytest.mark.parametrize("utc_us", [-(10**18), 10**18], ids=["before the year 1", "after 9999"])
async def test_a_clock_outside_any_calendar_costs_no_reading(site: Any, utc_us: int) -> None:
    await site.start()
    await site.tag("benchmark BM")
    before_us, site.level.utc_us = site.level.utc_us, utc_us
    absurd = await site.tag("station 1")
    assert absurd["at"][:4] in {"0001", "9999"}
    site.level.utc_us = before_us
    assert (await site.tag("station 2"))["ok"]
    await site.ask("end")
    counts, *_ = verify(site.path)
    assert counts.exact == 3


async def test_a_machine_that_slept_asks_for_the_zero_again(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM")
    waits = await site.waiting("station 1")
    site.level.sleep(3600.0)
    assert (await waits)["error"] == "link_lost"
    assert (await site.ask("station 1"))["error"] == "needs_zero"
    assert (await site.tag("benchmark BM"))["ok"]
    await site.ask("end")
    (body,) = noted(site)
    assert (body["asleep_us"], body["gap"]) == (HOUR_US, True)
    verify(site.path)


async def test_bytes_on_both_sides_of_a_sleep_are_never_joined(site: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.recorder.acquisition.TICK_S", 1000.0)
    await site.start()
    await site.tag("benchmark BM")
    site.level.speak("12.")
    await site.level.heard.join()
    site.level.sleep(3600.0)
    waits = await site.waiting("force benchmark BM")
    site.level.speak("5678 m\r\n")
    assert (await waits)["error"] == "link_lost"
    await site.ask("end")
    assert verify(site.path)[0].exact == 1


def stand_still(seconds: float) -> None:
    """Hold the event loop, as a machine busy with something else does."""
    threading.Event().wait(seconds)


async def test_a_program_that_was_not_run_keeps_its_zero_and_joins_no_bytes(
    site: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("logger.recorder.acquisition.STALLED_US", 100_000)
    await site.start()
    await site.tag("benchmark BM")
    waits = await site.waiting("force station 1")
    site.level.speak("12.")
    await site.level.heard.join()
    stand_still(0.2)
    await site.until(lambda: any(e.kind == "clock" and e.body.get("cut") for e in site.events()))
    site.level.speak("5678 m\r\n")
    site.level.speak("1.0000 m\r\n")
    assert (await waits)["height_m"] == 1.0
    assert noted(site) == []
    await site.ask("end")
    counts, *_ = verify(site.path)
    assert counts.exact == 2
    with Session.open(site.path) as session:
        assert any(told.get("stalled_us", 0) > 100_000 for _, told in played(session))


async def test_a_program_that_was_stopped_for_long_asks_for_the_zero_again(
    site: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    await site.start()
    await site.tag("benchmark BM")
    monkeypatch.setattr("logger.recorder.acquisition.STOPPED_US", 100_000)
    stand_still(0.2)
    await site.until(lambda: any(body["gap"] for body in noted(site)))
    assert (await site.ask("station 1"))["error"] == "needs_zero"
    monkeypatch.undo()
    await site.ask("end")
    verify(site.path)


def test_sleep_is_what_one_clock_counts_and_the_other_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    counted, stands_still = iter([110.0, 210.0, 220.0]), iter([100.0, 100.0, 101.0, 105.0, 110.0, 110.0])
    monkeypatch.setattr("logger.recorder.clock.steady_s", lambda: next(counted))
    monkeypatch.setattr("logger.recorder.clock._read", lambda names: next(stands_still))
    monkeypatch.setattr("logger.recorder.clock.sys.platform", "linux")
    assert slept_s() == 10.0
    assert slept_s() == 110.0, "readings with a stall between them are taken again"


def test_the_clocks_of_this_system_agree_while_it_is_awake() -> None:
    clock = SessionClock()
    before = (clock.slept_us(), steady_s())
    stand_still(0.01)
    assert abs(clock.slept_us() - before[0]) < 100_000
    assert steady_s() > before[1]
