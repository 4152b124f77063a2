"""The words of the record protocol, and what each is answered with."""

import asyncio
import json
import sqlite3
from typing import Any

import pytest

from drivers.instrument import parse
from drivers.lengths import Units
from logger.observation import Kind, Surface
from logger.recorder.settings import whole_text
from logger.session.replay import survey
from logger.session.store import Session
from logger.session.verify import verify

Answer = dict[str, Any]


async def test_a_walk_is_answered_saved_and_verified(site: Any) -> None:
    await site.start(units=Units.FEET_INCHES)
    zero = await site.tag("benchmark BM 100", 1.0)
    assert zero["ok"]
    assert (zero["n"], zero["kind"], zero["setup"], zero["above_zero_m"]) == (1, "benchmark", 1, 30.48)
    station = await site.tag("station 12 left 2 # by the oak", 1.5)
    assert station["station_m"] == pytest.approx(3.6576)
    assert station["offset_m"] == pytest.approx(-0.6096)
    assert station["height_m"] == pytest.approx(1.5001, abs=1e-4)
    assert station["above_zero_m"] == pytest.approx(30.98, abs=2e-4)
    assert station["steady"] is True
    assert station["readings"] >= 9
    assert 0 < station["u_m"] < 0.001
    assert station["at"].endswith("Z")
    assert json.loads(json.dumps(station, allow_nan=False)) == station
    ended = await site.ask("end")
    assert ended["event"] == "ended"
    counts, recorded, derived = verify(site.path, ended["digest"])
    assert recorded == derived == survey(site.path)
    assert (counts.events, counts.observations, counts.exact) == (ended["events"], 2, 2)
    one = recorded.observations[1]
    assert (one.kind, one.surface, one.offset_m, one.rod_m) == (
        Kind.STATION,
        Surface.GROUND,
        pytest.approx(-0.6096),
        0.0,
    )
    assert recorded.job == "Oak Lane"
    assert recorded.session_digest == ended["digest"]


async def test_settings_and_instrument_stand_before_the_data_that_use_them(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM")
    await site.ask("end")
    with Session.open(site.path) as session:
        first, second = list(session.events())[:2]
    assert first.kind == "opened"
    assert first.body["instrument"]["text"] == whole_text(parse(site.instrument, "test"))
    assert first.body["program"]
    assert second.kind == "raw"


async def test_a_tag_is_answered_only_once_another_reader_sees_it(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM")
    for n in range(2, 12):
        answer = await site.tag(f"station {n}")
        connection = sqlite3.connect(f"file:{site.path}?mode=ro", uri=True)
        saved = connection.execute("SELECT body FROM event WHERE kind = 'observed' ORDER BY n DESC LIMIT 1").fetchone()
        connection.close()
        assert json.loads(saved[0])["n"] == answer["n"] == n


async def test_the_bytes_of_a_tag_are_saved_with_it(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM")
    with Session.open(site.path) as session:
        events = list(session.events())
    at = next(i for i, e in enumerate(events) if e.kind == "observed")
    raw = [c for e in events[:at] if e.kind == "raw" for c in e.chunks()]
    body = events[at].body
    window = [float(c.data.split()[0]) for c in raw if body["from_us"] <= c.t_us <= body["to_us"]]
    assert len(window) == body["readings"]
    assert sum(window) / len(window) == pytest.approx(body["height_m"], abs=1e-12)


async def test_raw_bytes_are_kept_in_batches_of_at_most_a_second(site: Any) -> None:
    await site.start()
    for _ in range(100):
        site.level.speak()
        await site.level.heard.join()
    await site.ask("end")
    with Session.open(site.path) as session:
        spans = [e.body["to_us"] - e.body["from_us"] for e in session.events() if e.kind == "raw"]
    assert len(spans) >= 5
    assert max(spans) <= 1_000_000


async def test_a_tag_uses_only_readings_after_its_command(site: Any) -> None:
    await site.start()
    for _ in range(40):
        site.level.speak()
    await site.level.heard.join()
    site.level.height_m = 2.0
    answer = await site.tag("benchmark BM")
    assert answer["height_m"] == pytest.approx(2.0001, abs=1e-4)


async def test_force_takes_the_next_reading_and_says_so(site: Any) -> None:
    await site.start()
    waits = await site.waiting("force benchmark BM")
    site.level.speak("7.7777\r\n")
    answer = await waits
    assert (answer["height_m"], answer["forced"], answer["steady"], answer["readings"]) == (7.7777, True, False, 1)


@pytest.mark.parametrize(
    ("line", "error"),
    [
        ("station 3", "needs_zero"),
        ("turn TP1", "needs_zero"),
        ("built 1 front", "needs_zero"),
        ("station", "bad_length"),
        ("strike 1", "unknown_observation"),
        ("dance", "unknown_command"),
    ],
)
async def test_refusals_come_at_once_with_their_word(site: Any, line: str, error: str) -> None:
    await site.start()
    answer = await site.ask(line)
    assert (answer["ok"], answer["error"]) == (False, error)
    assert len(answer["message"]) > 15


async def test_an_unsteady_and_a_silent_instrument_are_told_apart(site: Any) -> None:
    await site.start(timeout_s=0.2)
    assert (await site.ask("benchmark BM"))["error"] == "no_readings"
    wild = await site.waiting("benchmark BM")
    for n in range(60):
        site.level.speak(f"{n}.0\r\n")
    answer = await wild
    assert answer["error"] == "not_steady"
    assert "force" in answer["message"]


async def test_answers_come_in_order_and_status_at_once(site: Any) -> None:
    await site.start()
    order: list[str] = []
    for line in ("benchmark BM", "note one", "station x", "status", "watch on", "list"):
        site.recorder.submit(line, lambda told: order.append(told["command"]))
    assert order == ["status", "watch on", "list"]
    while len(order) < 6:
        site.level.speak()
        await asyncio.sleep(0)
    assert order[3:] == ["benchmark BM", "note one", "station x"]


async def test_cancel_ends_the_wait(site: Any) -> None:
    await site.start()
    waits = await site.waiting("benchmark BM")
    assert (await site.ask("status"))["waiting"] == "benchmark BM"
    assert (await site.ask("cancel"))["cancelled"] == "benchmark BM"
    assert (await waits)["error"] == "cancelled"
    assert (await site.ask("cancel"))["cancelled"] is None
    assert (await site.tag("benchmark BM"))["ok"]


async def test_setup_turn_rod_surface_face_strike_note(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM", 1.0)
    await site.tag("turn TP1", 3.0)
    assert (await site.ask("setup"))["setup"] == 2
    assert (await site.ask("station 5"))["error"] == "needs_zero"
    assert (await site.tag("turn TP1", 0.2))["above_zero_m"] == pytest.approx(2.0, abs=2e-4)
    assert (await site.ask("rod 0.5"))["rod_m"] == 0.5
    assert (await site.ask("surface dug"))["surface"] == "dug"
    assert (await site.tag("station 5", 1.2))["above_zero_m"] == pytest.approx(2.5, abs=2e-4)
    assert (await site.tag("built 3 front", 1.2))["riser"] == 3
    face = await site.ask("face 3 172 mm left")
    assert (face["kind"], face["length_m"], face["n"]) == ("face", 0.172, 6)
    assert (await site.ask("strike 4 # slipped"))["event"] == "struck"
    assert (await site.ask("strike 4"))["error"] == "unknown_observation"
    assert (await site.ask("note [/x] \x1b[31m"))["text"] == "[/x] \x1b[31m"
    listed = (await site.ask("list"))["observations"]
    assert [(row["n"], row["struck"]) for row in listed] == [(n, n == 4) for n in range(1, 7)]
    await site.ask("end")
    walked = survey(site.path)
    assert [o.surface for o in walked.observations[3:]] == [Surface.DUG, Surface.BUILT]
    assert walked.observations[3].struck
    assert walked.faces[0].length_m == 0.172


async def test_status_says_where_things_stand(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM", 1.0)
    await site.tag("station 1")
    site.level.wait(60.0)
    status = await site.ask("status")
    assert status["ok"]
    assert (status["setup"], status["link"], status["job"], status["needs_zero"]) == (1, "live", "Oak Lane", False)
    assert status["zero"]["name"] == "BM"
    assert status["zero"]["age_s"] > 60
    assert status["counts"]["stations"] == 1
    assert status["last_tag"]["n"] == 2
    assert status["last_save"].endswith("Z")
    assert status["session"] == str(site.path)


async def test_watching_streams_what_the_instrument_shows(site: Any) -> None:
    await site.start()
    await site.tag("benchmark BM", 1.0)
    told: list[Answer] = []
    site.recorder.submit("watch on", told.append)
    site.level.speak()
    await site.until(lambda: len(told) >= 2)
    reading = told[1]
    assert reading["event"] == "reading"
    assert reading["height_m"] == pytest.approx(1.0001, abs=2e-4)
    assert reading["above_zero_m"] == pytest.approx(0.0, abs=3e-4)
    assert set(reading) >= {"u_m", "spread_m", "steady", "age_s", "link"}
    site.recorder.leave(told.append)
