"""The recorder with an instrument in the same process, on a clock the test moves: every word of its protocol."""

import asyncio
import json
import sqlite3
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest

from drivers.errors import PortMissing, PortSilent
from drivers.instrument import parse
from drivers.lengths import Units
from drivers.reading import Chunk, Link, LinkChanged
from logger.errors import InUse
from logger.observation import Kind, Surface
from logger.recorder.clock import SessionClock
from logger.recorder.recorder import Recorder
from logger.recorder.settings import Settings, whole_text
from logger.session.lock import WriterLock
from logger.session.replay import survey
from logger.session.store import Session
from logger.session.verify import verify

LINES = """
[instrument]
name = "Hose level, lines"
[decoder]
kind = "lines"
pattern = '(?P<height>[+-]?\\d+\\.\\d+)'
[height]
unit = "m"
resolution = "0.1 mm"
[settle]
window = "0.5 s"
spread = "2 mm"
"""
HZ = 20
Answer = dict[str, Any]


async def until(condition: Callable[[], object]) -> None:
    """Wait for a condition, at most five seconds."""
    async with asyncio.timeout(5):
        while not condition():  # noqa: ASYNC110 - nothing announces it
            await asyncio.sleep(0.002)


class Instrument:
    """A hose level on a line of its own; it speaks when the test says so, on the test's clock."""

    def __init__(self) -> None:
        self.steady_s, self.utc_us = 1000.0, 1_777_000_000_000_000
        self.height_m = 1.0
        self.heard: asyncio.Queue[Chunk | LinkChanged | Exception] = asyncio.Queue()
        self.closed = 0
        self._count = 0

    def clock(self) -> SessionClock:
        return SessionClock(lambda: self.steady_s, lambda: self.utc_us)

    async def events(self) -> AsyncIterator[Chunk | LinkChanged]:
        while True:
            event = await self.heard.get()
            if isinstance(event, Exception):
                raise event
            yield event
            self.heard.task_done()

    async def close(self) -> None:
        self.closed += 1

    def wait(self, seconds: float) -> None:
        self.steady_s += seconds
        self.utc_us += round(seconds * 1e6)

    def speak(self, text: str | None = None) -> None:
        self.wait(1 / HZ)
        self._count += 1
        shown = f"{self.height_m + 0.0001 * (self._count % 3):.4f} m\r\n" if text is None else text
        self.heard.put_nowait(Chunk(self.steady_s, shown.encode()))

    async def change(self, link: Link) -> None:
        self.heard.put_nowait(LinkChanged(self.steady_s, link, "the test says so"))
        await self.heard.join()


class Site:
    """One recorder and its instrument."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.level = Instrument()
        self.events: list[Answer] = []

    def settings(self, **changed: Any) -> Settings:
        return Settings(
            **{"port": "the level", "instrument": parse(LINES, "test"), "job": "Oak Lane", "timeout_s": 30.0} | changed
        )

    async def start(self, **changed: Any) -> Recorder:
        self.recorder = Recorder(self.path, self.settings(**changed), lambda s, c: self.level, self.level.clock())
        self.level.speak()
        await self.recorder.start()
        return self.recorder

    async def ask(self, line: str) -> Answer:
        return await self.recorder.ask(line)

    async def tag(self, line: str, height_m: float | None = None) -> Answer:
        """Tag, with the instrument speaking until the answer is there."""
        if height_m is not None:
            self.level.height_m = height_m
        answer = asyncio.create_task(self.ask(line))
        while not answer.done():
            await asyncio.sleep(0)
            self.level.speak()
            await self.level.heard.join()
        return answer.result()

    async def waiting(self, line: str) -> asyncio.Task[Answer]:
        """Ask for a tag and return once it waits."""
        answer = asyncio.create_task(self.ask(line))
        await until(lambda: self.recorder.acquisition.wait is not None or answer.done())
        return answer


@pytest.fixture
async def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Site]:
    # The test's clock runs ahead of the real one, by which the recorder ticks: only a long jump is a sleep here.
    monkeypatch.setattr("logger.recorder.acquisition.ASLEEP_US", 1_000_000_000)
    site = Site(tmp_path / "slope.walk")
    yield site
    if hasattr(site, "recorder") and hasattr(site.recorder, "writer"):
        await site.recorder.close()


async def test_a_walk_is_answered_saved_and_verified(site: Site) -> None:
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


async def test_settings_and_instrument_stand_before_the_data_that_use_them(site: Site) -> None:
    await site.start()
    await site.tag("benchmark BM")
    await site.ask("end")
    with Session.open(site.path) as session:
        first, second = list(session.events())[:2]
    assert first.kind == "opened"
    assert first.body["instrument"]["text"] == whole_text(parse(LINES, "test"))
    assert first.body["program"]
    assert second.kind == "raw"


async def test_a_tag_is_answered_only_once_another_reader_sees_it(site: Site) -> None:
    await site.start()
    await site.tag("benchmark BM")
    for n in range(2, 12):
        answer = await site.tag(f"station {n}")
        connection = sqlite3.connect(f"file:{site.path}?mode=ro", uri=True)
        saved = connection.execute("SELECT body FROM event WHERE kind = 'observed' ORDER BY n DESC LIMIT 1").fetchone()
        connection.close()
        assert json.loads(saved[0])["n"] == answer["n"] == n


async def test_the_bytes_of_a_tag_are_saved_with_it(site: Site) -> None:
    await site.start()
    await site.tag("benchmark BM")
    with Session.open(site.path) as session:
        events = list(session.events())
    assert [e.kind for e in events[-2:]] == ["raw", "observed"]
    raw = [c for e in events if e.kind == "raw" for c in e.chunks()]
    body = events[-1].body
    window = [float(c.data.split()[0]) for c in raw if body["from_us"] <= c.t_us <= body["to_us"]]
    assert len(window) == body["readings"]
    assert sum(window) / len(window) == pytest.approx(body["height_m"], abs=1e-12)


async def test_a_tag_uses_only_readings_after_its_command(site: Site) -> None:
    await site.start()
    for _ in range(40):
        site.level.speak()
    await site.level.heard.join()
    site.level.height_m = 2.0
    answer = await site.tag("benchmark BM")
    assert answer["height_m"] == pytest.approx(2.0001, abs=1e-4)


async def test_force_takes_the_next_reading_and_says_so(site: Site) -> None:
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
async def test_refusals_come_at_once_with_their_word(site: Site, line: str, error: str) -> None:
    await site.start()
    answer = await site.ask(line)
    assert (answer["ok"], answer["error"]) == (False, error)
    assert len(answer["message"]) > 15


async def test_an_unsteady_and_a_silent_instrument_are_told_apart(site: Site) -> None:
    await site.start(timeout_s=0.2)
    assert (await site.ask("benchmark BM"))["error"] == "no_readings"
    wild = await site.waiting("benchmark BM")
    for n in range(60):
        site.level.speak(f"{n}.0\r\n")
    answer = await wild
    assert answer["error"] == "not_steady"
    assert "force" in answer["message"]


async def test_answers_come_in_order_and_status_at_once(site: Site) -> None:
    await site.start()
    order: list[str] = []
    for line in ("benchmark BM", "note one", "station x", "status", "watch on", "list"):
        site.recorder.submit(line, lambda told: order.append(told["command"]))
    assert order == ["status", "watch on", "list"]
    while len(order) < 6:
        site.level.speak()
        await asyncio.sleep(0)
    assert order[3:] == ["benchmark BM", "note one", "station x"]


async def test_cancel_ends_the_wait(site: Site) -> None:
    await site.start()
    waits = await site.waiting("benchmark BM")
    assert (await site.ask("status"))["waiting"] == "benchmark BM"
    assert (await site.ask("cancel"))["cancelled"] == "benchmark BM"
    assert (await waits)["error"] == "cancelled"
    assert (await site.ask("cancel"))["cancelled"] is None
    assert (await site.tag("benchmark BM"))["ok"]


async def test_a_lost_link_ends_the_wait_and_asks_for_the_zero_again(site: Site) -> None:
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


async def test_a_line_cut_by_a_gap_is_not_joined(site: Site) -> None:
    await site.start()
    site.level.speak("12.")
    await site.level.change(Link.LOST)
    await site.level.change(Link.LIVE)
    waits = await site.waiting("force benchmark BM")
    site.level.speak("5678\r\n")
    site.level.speak("1.0000\r\n")
    assert (await waits)["height_m"] == 1.0


async def test_setup_turn_rod_surface_face_strike_note(site: Site) -> None:
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


async def test_status_says_where_things_stand(site: Site) -> None:
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


async def test_watching_streams_what_the_instrument_shows(site: Site) -> None:
    await site.start()
    await site.tag("benchmark BM", 1.0)
    told: list[Answer] = []
    site.recorder.submit("watch on", told.append)
    site.level.speak()
    await until(lambda: len(told) >= 2)
    reading = told[1]
    assert reading["event"] == "reading"
    assert reading["height_m"] == pytest.approx(1.0001, abs=2e-4)
    assert reading["above_zero_m"] == pytest.approx(0.0, abs=3e-4)
    assert set(reading) >= {"u_m", "spread_m", "steady", "age_s", "link"}
    site.recorder.leave(told.append)


async def test_a_port_that_never_speaks_leaves_no_session(site: Site) -> None:
    site.level.heard.put_nowait(PortSilent("the level", "nothing was heard for 5 s"))
    with pytest.raises(PortSilent):
        await Recorder(site.path, site.settings(), lambda s, c: site.level, site.level.clock()).start()
    assert not list(site.path.parent.iterdir())
    assert site.level.closed == 1


async def test_a_missing_port_leaves_an_existing_session_as_it_was(site: Site) -> None:
    await site.start()
    await site.ask("end")
    before = site.path.read_bytes()
    site.level.heard.put_nowait(PortMissing("the level", "plug it in"))
    again = Instrument()
    again.heard.put_nowait(PortMissing("the level", "plug it in"))
    with pytest.raises(PortMissing):
        await Recorder(site.path, site.settings(), lambda s, c: again, again.clock()).start()
    assert site.path.read_bytes() == before


async def test_a_second_recorder_is_refused_before_it_touches_the_port(site: Site) -> None:
    await site.start()
    opened: list[str] = []

    def make(settings: Settings, clock: SessionClock) -> Instrument:
        opened.append(settings.port)
        return Instrument()

    with pytest.raises(InUse, match="in use by"):
        await Recorder(site.path, site.settings(), make).start()
    assert not opened
    assert WriterLock(site.path).path.exists()


async def resume(site: Site, away_s: float, **changed: Any) -> Answer:
    await site.start()
    await site.tag("benchmark BM", 1.0)
    await site.tag("station 1", 1.5)
    await site.ask("end")
    site.level.wait(away_s)
    await site.start(**changed)
    return await site.ask("status")


async def test_a_session_goes_on_in_the_same_setup(site: Site) -> None:
    status = await resume(site, 60.0)
    assert (status["needs_zero"], status["setup"], status["counts"]["observations"]) == (False, 1, 2)
    assert status["last_tag"]["age_s"] > 60
    again = await site.tag("station 2", 2.0)
    assert again["n"] == 3
    assert again["above_zero_m"] == pytest.approx(1.0, abs=2e-4)
    await site.ask("end")
    verify(site.path)
    times = [o.t_s for o in survey(site.path).observations]
    assert times == sorted(times)
    assert times[2] - times[1] > 60


@pytest.mark.parametrize(
    ("away_s", "changed"),
    [(3600.0, {}), (-3600.0, {}), (1.0, {"port": "another"}), (1.0, {"instrument": parse(LINES + "#", "t")})],
)
async def test_a_session_says_that_the_zero_must_be_observed_again(site: Site, away_s: float, changed: Answer) -> None:
    if "instrument" in changed:
        changed = {"instrument": parse(LINES.replace("Hose", "Other"), "test")}
    status = await resume(site, away_s, **changed)
    assert status["needs_zero"] is True
    assert (await site.ask("station 2"))["error"] == "needs_zero"
    assert "BM" in status["message"]


async def test_a_clock_set_back_is_noted_and_changes_no_order(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.recorder.acquisition.TICK_S", 0.01)
    await site.start()
    await site.tag("benchmark BM")
    site.level.utc_us -= 3_600_000_000
    await until(lambda: any(e.kind == "clock" for e in events(site.path)))
    assert (await site.tag("station 1"))["ok"]
    await site.ask("end")
    (noted,) = [e for e in events(site.path) if e.kind == "clock"]
    assert noted.body == {"asleep_us": 0, "gap": False, "set_us": -3_600_000_000}
    observed = survey(site.path).observations
    assert observed[0].t_s < observed[1].t_s
    assert observed[0].setup == observed[1].setup


async def test_a_machine_that_slept_asks_for_the_zero_again(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.recorder.acquisition.TICK_S", 0.01)
    await site.start()
    await site.tag("benchmark BM")
    site.level.wait(3600.0)
    await until(lambda: any(e.kind == "clock" for e in events(site.path)))
    assert (await site.ask("station 1"))["error"] == "needs_zero"
    await site.ask("end")
    verify(site.path)


def events(path: Path) -> list[Any]:
    with Session.open(path) as session:
        return list(session.events(raw=False))


async def test_a_disk_that_refuses_is_said_and_what_was_heard_is_kept(site: Site) -> None:
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
    assert (await site.tag("station 999"))["ok"]
    assert (await site.ask("status"))["saved"] is True
    await site.ask("end")
    counts, *_ = verify(site.path)
    assert counts.observations == counts.exact


async def test_listening_that_breaks_is_a_lost_link_and_the_session_stays(site: Site) -> None:
    await site.start()
    await site.tag("benchmark BM")
    site.level.heard.put_nowait(RuntimeError("the driver broke"))
    await until(lambda: site.recorder.acquisition.state.link is Link.LOST)
    assert (await site.ask("station 1"))["error"] == "link_lost"
    assert (await site.ask("note still here"))["ok"]
