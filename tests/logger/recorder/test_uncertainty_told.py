"""The uncertainty told live and in the field book, before any adjustment, against that of the adjustment itself."""

from typing import Any

import pytest

from logger.reduction.adjustment import adjust
from logger.session.played import played
from logger.session.replay import survey
from logger.session.store import Session
from logger.session.verify import verify

ERRORS = """
accuracy = "1 mm"
accuracy_is = "limit"
drift = "2 mm per h"
"""


@pytest.fixture
async def across(site: Any) -> Any:
    """A zero, a station, the reference end moved over a turning point, and two stations above it."""
    site.instrument = site.instrument.replace('resolution = "0.1 mm"', 'resolution = "0.1 mm"' + ERRORS)
    await site.start()
    await site.tag("benchmark BM", 0.2)
    await site.tag("station 1", 0.9)
    await site.tag("turn TP1", 2.1)
    await site.ask("setup")
    await site.tag("turn TP1", 0.3)
    await site.tag("station 2", 0.8)
    await site.tag("station 3", 1.9)
    return site


async def test_what_is_told_of_the_book_is_what_the_adjustment_finds_without_redundancy(across: Any) -> None:
    rows = {r["station_m"]: r for r in (await across.ask("list"))["observations"] if r["kind"] == "station"}
    found = adjust(survey(across.path)).profile.points
    assert [p.station_m for p in found] == [1.0, 2.0, 3.0]
    for point in found:
        assert rows[point.station_m]["above_zero_u_m"] == pytest.approx(point.u_m, rel=0.03)
    told = [rows[x]["above_zero_u_m"] for x in (1.0, 2.0, 3.0)]
    assert told == sorted(told)
    assert told[0] > 3 * rows[1.0]["u_m"], "the zero and the unevenness of the instrument count too"


async def test_live_it_is_that_of_a_station_there(across: Any) -> None:
    (row,) = (r for r in (await across.ask("list"))["observations"] if r.get("station_m") == 3.0)
    live = across.recorder.reports.reading()
    assert live["above_zero_m"] == pytest.approx(row["above_zero_m"], abs=2e-4)
    assert live["above_zero_u_m"] == pytest.approx(row["above_zero_u_m"], rel=0.05)


async def test_a_replay_tells_the_same(across: Any) -> None:
    listed = (await across.ask("list"))["observations"]
    await across.ask("end")
    with Session.open(across.path) as session:
        again = [event["above_zero_u_m"] for _, event in played(session) if event["event"] == "observed"]
    assert again == [row["above_zero_u_m"] for row in listed]


async def test_nothing_is_told_where_the_way_to_the_zero_was_struck_out(across: Any) -> None:
    turned = next(r["n"] for r in (await across.ask("list"))["observations"] if r["kind"] == "turn")
    await across.ask(f"strike {turned}")
    last = (await across.ask("list"))["observations"][-1]
    assert "above_zero_u_m" not in last
    assert across.recorder.reports.reading()["above_zero_u_m"] is None


async def test_a_mark_counted_from_a_zero_struck_out_holds_the_zero_no_longer(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM 100", 1.0)
    await site.tag("benchmark B2 101", 2.2)
    await site.tag("turn TP", 2.0)
    for n in (2, 1):
        assert (await site.ask(f"strike {n}"))["ok"]
    assert "benchmark NAME" in (await site.ask("status"))["message"]
    assert (await site.ask("turn TP"))["error"] == "needs_zero"
    rows = (await site.ask("list"))["observations"]
    assert ["above_zero_u_m" in row for row in rows] == [True, False, False], "B2 was told as counted from BM"


async def test_a_zero_observed_again_after_a_slip_carries_what_was_counted_from_the_slip(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM", 0.5)  # not on the mark yet
    await site.tag("turn TP1", 1.2)
    assert (await site.tag("benchmark BM", 0.2))["ok"]
    await site.ask("strike 1 # the probe was not on the mark")
    await site.ask("setup")
    again = await site.tag("turn TP1", 0.3)
    assert again["above_zero_m"] == pytest.approx(1.0, abs=3e-4)
    assert (await site.tag("station 2", 0.8))["above_zero_m"] == pytest.approx(1.5, abs=3e-4)
    (point,) = adjust(survey(site.path)).profile.points
    assert point.elevation_m == pytest.approx(1.5, abs=3e-4)
    verify(site.path)
