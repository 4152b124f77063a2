"""Whole jobs by keys, on the virtual level over a pseudo-terminal, with the real recorder behind the screen."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from drivers.instrument import dump, load, parse
from logger.recorder.client import Client
from logger.session.replay import survey
from tui.actions import Place
from tui.app import RisewalkApp
from tui.cli.demo import Child, child
from tui.screens.ask import Ask, Choose, Told
from tui.walking.opening import Opening, Started, connected, start
from tui.walking.remembered import Remembered, remember
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.tables import Told as Details

GROUND = "station_m,elevation_m\n0,0.1\n1.5,0.7\n3,0.8\n6,1.7\n"
BM_M, PEG_M = 0.05, 0.9
PATIENCE_S = 40.0


class Job:
    """The app in the test's hands: every key is counted."""

    def __init__(self, pilot: Pilot[str], level: Child) -> None:
        self.pilot, self.level, self.app = pilot, level, pilot.app
        self.pressed = 0

    async def keys(self, *keys: str) -> None:
        """Press keys."""
        self.pressed += len(keys)
        await self.pilot.press(*keys)

    async def until(self, true: Callable[[], object]) -> None:
        """Let the app work until something holds; what it shows instead is in the failure."""
        try:
            async with asyncio.timeout(PATIENCE_S):
                while not true():
                    await self.pilot.pause(0.01)
        except TimeoutError:
            lines = self.app.screen._compositor.render_strips()
            pytest.fail("\n".join("".join(s.text for s in line) for line in lines))

    def says(self, name: str = "said") -> str:
        """One of the lines of words on the screen in front."""
        return self.app.screen.query_one(f"#{name}", Saying).text

    @property
    def takes(self) -> str:
        """What the take bar says."""
        return "".join(text for line in self.app.screen.query_one(TakeBar).lines(200, 1) for text, _ in line).strip()

    async def probe(self, where: str, height_m: float) -> None:
        """Carry the probe somewhere; until the screen shows its height above the zero."""
        self.level.ask(where)
        await self.until(lambda: self.live is not None and abs(self.live - height_m) < 0.006)

    @property
    def live(self) -> float | None:
        live = self.app.walk.live if self.app.walk else None
        return None if live is None else live.above_zero_m

    async def observed(self, count: int) -> None:
        """Wait for so many rows in the field book."""
        await self.until(lambda: len(self.app.walk.rows) == count)
        await self.pilot.pause()

    async def goes(self, place: Place) -> None:
        self.app.action_go(place.value)
        await self.until(lambda: getattr(self.app.screen, "place", None) is place)
        await self.pilot.pause(0.1)


@pytest.fixture
def instrument(tmp_path: Path) -> Path:
    """A shipped instrument with temperature and battery, made to settle at once and to reach 1.6 m."""
    tables = dump(load("binary-frames")).replace("\r", "")
    file = tmp_path / "quick.toml"
    kept = "\n".join(part for part in tables.split("\n\n") if not part.startswith(("[settle]", "[reach]")))
    file.write_text(f'{kept}\n[settle]\nwindow = "0.2 s"\nspread = "4 mm"\n[reach]\nheight = "1.6 m"\n')
    parse(file.read_text(), "the test's instrument")
    return file


@asynccontextmanager
async def job(folder: Path, instrument: Path, size: tuple[int, int] = (80, 24)) -> AsyncIterator[Job]:
    """The app as `risewalk walk` without a file opens it, its instrument known from last time."""
    ground = folder / "ground.csv"
    ground.write_text(GROUND)
    with child("simulate", "--ground", str(ground), "--speak", "frames", "--rate", "50", "--seed", "9") as level:
        port = str(level.answer()["port"])
        level.ask(f"point BM {BM_M}")
        remember(Remembered(port, str(instrument), "m", "level"))
        started: list[Started] = []

        async def connect(opening: Opening) -> Client:
            started.append(start(opening.record_command()))
            return await connected(opening, started[-1])

        app = RisewalkApp(None, connect)
        async with app.run_test(size=size) as pilot:
            running = Job(pilot, level)
            try:
                yield running
            finally:
                if app.walk is not None and not app.walk.gone:
                    await app.walk.ask("end")
                    await running.until(lambda: app.walk.gone)
                for each in started:
                    await asyncio.to_thread(each.process.wait, PATIENCE_S)
                    each.said.close()


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions are begun in the folder the app is started in; the socket's name may not be long."""
    monkeypatch.chdir(tmp_path)


async def begun(job: Job) -> None:
    """From the start to the first tagged station, by four keys."""
    await job.until(lambda: "new session" in job.takes)
    await job.keys("enter")
    await job.until(lambda: isinstance(job.app.screen, Told))
    assert "No kink" in "\n".join(job.app.screen._lines)
    await job.keys("enter")
    await job.until(lambda: not isinstance(job.app.screen, Told) and "zero on BM" in job.takes)
    await job.keys("space")
    await job.observed(1)
    await job.probe("at 0", 0.1 - BM_M)
    await job.keys("space")
    await job.observed(2)


async def test_from_the_start_to_checked_steps(tmp_path: Path, instrument: Path) -> None:
    async with job(tmp_path, instrument) as on:
        await begun(on)
        assert on.pressed <= 4
        await walked(on)
        await chosen(on)
        await set_out(on)
        await checked(on)
        await kept(on)
        session = on.app.session
    assert len(survey(session).observations) == sum(not row.taped for row in on.app.walk.rows)


async def walked(on: Job) -> None:
    """Stations at one key each, a turning point between two setups, questions about slips, a note, an undo."""
    for count, station in enumerate((0.5, 1.0, 1.5), 3):
        await on.probe(f"at {station}", 0.1 + 0.4 * station - BM_M)
        before = on.pressed
        await on.keys("space")
        await on.observed(count)
        assert on.pressed - before == 1
        assert on.app.walk.rows[-1].station_m == pytest.approx(station)
    for typed, question in ((("1", "enter"), "in the book already"), (("0", ".", "7", "enter"), "lies back")):
        await on.keys(*typed)
        await on.until(lambda question=question: question in on.says())
        await on.keys("escape")
    await on.probe(f"point wall {BM_M + 1.5}", 1.5)
    await on.until(lambda: "Reach" in on.says("best"))
    await on.keys("space")
    await on.until(lambda: "is a wall" in on.says())
    assert len(on.app.walk.rows) == 5
    await on.keys("space")
    await on.observed(6)
    await on.keys("u", "u")
    await on.until(lambda: on.app.walk.rows[-1].struck)
    await on.keys("n", *"mud", "enter")
    await on.until(lambda: "Noted: mud" in on.says())
    await turned(on)
    for station, height in ((2.0, 0.7 + 0.1 / 3), (3.0, 0.8), (6.0, 1.7)):
        await on.probe(f"at {station}", height - BM_M)
        await on.keys(*str(station), "enter")
        await on.until(lambda: on.app.screen.waiting == "" and (on.app.walk.rows[-1].station_m or "out" in on.says()))
        if "ground out" in on.says():
            await on.keys("space")
        await on.until(lambda station=station: on.app.walk.rows[-1].station_m == station)


async def turned(on: Job) -> None:
    """The reference end is moved; it cannot be half done."""
    await on.probe(f"point rock {PEG_M}", PEG_M - BM_M)
    await on.keys("t", "space")
    await on.observed(7)
    assert "Move the reference end" in on.takes
    on.level.ask("shift")
    await on.keys("space")
    await on.until(lambda: "TP1 again" in on.takes)
    await on.keys("space")
    await on.observed(8)
    assert on.app.walk.standing.setup == 2
    await on.probe(f"point rock {PEG_M}", PEG_M - BM_M)
    await on.until(lambda: "above BM" in on.says("exact"))


async def chosen(on: Job) -> None:
    """Layouts, the question at the top, an edit that is solved again, two compared, why not another."""
    await on.goes(Place.STEPS)
    await on.until(lambda: on.app.draft.option)
    assert "top tread flush" in on.says("sentence") or "top landing flush" in on.says("sentence")
    treads = on.app.draft.option.treads
    assert "already there?" in on.says()
    await on.keys("o")
    await on.until(lambda: isinstance(on.app.screen, Choose))
    assert "step up onto something already there" in on.app.screen._words
    await on.keys("enter")
    await on.until(lambda: on.app.draft.option and "last riser up to" in on.says("sentence"))
    assert on.app.draft.option.treads != treads
    await on.keys("o", "down", "enter", "e", *["down"] * 4, "enter")
    await on.until(lambda: isinstance(on.app.screen, Ask) and on.app.focused)
    await on.keys(*["backspace"] * 5, *"nonsense", "enter")
    await on.until(lambda: "cannot be read" in str(on.app.screen.query_one("#wrong").content))
    await on.keys(*["backspace"] * 8, *"45", "space", *"cm", "enter")
    await on.until(lambda: on.app.draft.option and on.app.draft.option.tread_m == pytest.approx(0.45))
    first = on.app.draft.option.risers
    await on.keys("c")
    details = on.app.screen.query_one(Details)
    await on.until(lambda: any(f"{first}  │" in text for name, text in details._pairs if name == "risers"))
    assert on.app.draft.option.risers != first
    await on.keys("c", "w", *"3", "enter")
    await on.until(lambda: details._pairs[0][0] == "why")
    assert "3 risers" in details._pairs[0][1]
    refused = on.app.draft.best.options.refused[0].risers
    await on.keys("w", "w", *str(refused), "enter")
    await on.until(lambda: any("would mend it" in text for _, text in details._pairs))
    assert f"{refused} risers cannot be" in details._pairs[0][1]
    await on.until(lambda: "Working" not in on.says())
    await on.keys("w")


async def set_out(on: Job) -> None:
    """Guided to the first mark, which is taken and says how far off it was."""
    await on.goes(Place.SET_OUT)
    target = on.app.screen.target
    assert target.level.value == "finished"
    await on.probe(f"point mark {BM_M + target.height_m - 0.04}", target.height_m - 0.04)
    await on.until(lambda: on.app.screen.query_one("#word").text == "raise")
    await on.probe(f"point mark {BM_M + target.height_m}", target.height_m)
    await on.until(lambda: on.app.screen.query_one("#word").text == "on grade")
    await on.keys("space")
    await on.until(lambda: "1 of" in on.says("progress"))
    await on.until(lambda: on.app.screen.target != target)
    assert on.app.screen.marking.taken(target).above_zero_m == pytest.approx(target.height_m, abs=0.003)


async def checked(on: Job) -> None:
    """The built step is judged as it is observed; a face by tape; the last is struck out."""
    await on.goes(Place.CHECK)
    await on.until(lambda: "back" in on.says("target"))
    target = on.app.screen.target
    await on.probe(f"point tread {BM_M + target.height_m}", target.height_m)
    await on.keys("space")
    await on.until(lambda: "2 of" in on.says("progress"))
    await on.until(lambda: "So far: 1 within" in on.says("exact") and "riser 2" in on.says("target"))
    await on.keys("a", *"172", "space", *"mm", "enter")
    await on.until(lambda: "face 2, 0.172 m" in on.says())
    await on.keys("u", "u")
    await on.until(lambda: on.app.walk.rows[-1].struck)


async def kept(on: Job) -> None:
    """Verified, exported with the brief as it stands, played again step by step."""
    await on.goes(Place.SESSIONS)
    await on.until(lambda: "back to" in on.takes)
    await on.keys("c")
    await on.until(lambda: "is what was recorded" in on.says())
    await on.keys("e", *["down"] * 4, "enter")
    await on.until(lambda: "Written" in on.says())
    assert "<svg" in on.app.session.with_suffix(".svg").read_text()
    await on.keys("r")
    await on.until(lambda: getattr(on.app.screen, "place", None) is Place.REPLAY)
    await on.keys("n", "n", "n")
    await on.until(lambda: len(on.app.screen.walk.rows) == 3 and on.app.screen.replayed.paused)
    await on.keys("up", "space")
    await on.until(lambda: "playing 2 times" in on.takes)
    await on.keys("escape")
    await on.until(lambda: getattr(on.app.screen, "place", None) is Place.SESSIONS)


async def test_reminders_of_the_zero_by_time_and_by_temperature(
    tmp_path: Path, instrument: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with job(tmp_path, instrument, (40, 20)) as on:
        await begun(on)
        assert on.app.walk.rows[0].temperature_c == pytest.approx(15.0)
        on.level.ask("temperature 23")
        await on.until(lambda: "+8 °C since BM" in on.says("best"))
        await on.keys("z", "space")
        await on.observed(3)
        await on.until(lambda: "Check the zero" not in on.says("best"))
        monkeypatch.setattr("tui.walking.doubts.ZERO_MIN", 0.0)
        await on.until(lambda: "min since BM" in on.says("best"))


async def test_a_link_that_goes_and_comes_back(tmp_path: Path, instrument: Path) -> None:
    async with job(tmp_path, instrument) as on:
        await begun(on)
        on.level.ask("unplug")
        await on.until(lambda: on.app.walk.standing.link != "live")
        await on.until(lambda: "LINK" in on.app.screen.query_one("#number")._stale)
        on.level.ask("replug")
        await on.until(lambda: on.app.walk.standing.link == "live" and "zero on BM" in on.takes)
        on.level.ask(f"point BM {BM_M}")
        await on.keys("space")
        await on.observed(3)
        await on.until(lambda: "above BM" in on.says("exact"))
