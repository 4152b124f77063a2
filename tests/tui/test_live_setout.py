"""Live set-out: what is said for readings and typed lines, and a real guided take against the simulator."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from drivers.lengths import Units
from logger.errors import Refused
from logger.guidance import Level, Say
from logger.profile import Profile, ProfilePoint
from logger.setout import set_out
from logger.steps.brief import brief_of
from logger.steps.option import Option
from tui.cli.live import Guided, Talk
from tui.walking.marking import Marking
from tui.walking.standing import Row

F = (0.5 - 0.02 * 0.8) / 2


@pytest.fixture
def plan() -> Any:
    points = tuple(ProfilePoint(x, 0.0, z, 0.0) for x, z in ((0.0, 0.0), (0.8, 0.5), (2.0, 0.5)))
    option = Option(
        risers=2, treads=2, face_m=F, nosing_rise_m=F + 0.008, tread_m=0.4, fall=0.02, landing_fall=0.02,
        depths_m=(0.4, 0.4), face_stations_m=(0.0, 0.4), tops_m=(F, 2 * F + 0.008), faces_m=(F, F), landings=(),
        foot_m=0.0, ground_above_m2=0.0, ground_below_m2=0.0, fit_m2=0.0, step_rule_m=0.9,
    )  # fmt: skip
    steps = {"tread": "0.4 m", "landing": "1 m", "width": "1 m"}
    brief = brief_of({"steps": steps, "layers": {"unit": "15 cm", "base": "10 cm"}})
    return SimpleNamespace(profile=Profile(points), option=option, brief=brief)


def reading(above: float | None, *, steady: bool = True) -> dict[str, Any]:
    return {"event": "reading", "above_zero_m": above, "steady": steady}


def test_enter_takes_and_goes_on_to_the_next_mark(plan: Any) -> None:
    talk = Talk(plan, Level.BASE_TOP, Units.MILLIMETRES, 0.003)
    assert talk.where() == "riser 1, front: base top 92 mm above zero, tape 0 mm"
    reply = talk.said("")
    assert (reply.ask, reply.forward) == (("base 1 front",), True)
    assert talk.forward().words.startswith("riser 1, back")
    assert talk.said("riser 2 back").words.startswith("riser 2, back")
    assert talk.forward().words == "that was the last mark"
    assert talk.said("riser 7").words == "no base top at riser 7"


def test_same_word_is_said_about_once_a_second_and_a_new_one_at_once(plan: Any) -> None:
    talk = Talk(plan, Level.BASE_TOP, Units.MILLIMETRES, 0.003)
    said = [talk.heard(reading(0.05)) for _ in range(25)]
    assert [i for i, told in enumerate(said) if told is not None] == [0, 10, 20]
    told = talk.heard(reading(0.092))
    assert told is not None
    assert told.say is Say.ON_GRADE


def test_without_a_zero_it_asks_for_the_zero(plan: Any) -> None:
    talk = Talk(plan, Level.BASE_TOP, Units.MILLIMETRES, 0.003)
    told = talk.heard(reading(None))
    assert told is not None
    assert (told.say, told.bell) == (Say.ZERO, 3)
    assert talk.said("zero BM").ask == ("benchmark BM",)


def test_levels_change_what_is_kept(plan: Any) -> None:
    talk = Talk(plan, Level.FINISHED, Units.METRES, 0.003)
    assert talk.said("take").ask == ("built 1 front",)
    talk.said("height subgrade")
    dug = talk.said("take").ask
    assert dug == ("surface dug", "station 0.025000 m # riser 1 front", "surface ground"), "inside the bench"
    talk.said("height crossing")
    assert talk.said("take").ask == ("point g1",)
    told = talk.heard(reading(-0.1))
    assert told is not None
    assert told.say is Say.UPHILL
    assert told.go_m == pytest.approx(0.1 / (np.interp(0.25, [0, 0.8], [0, 0.5]) / 0.5)), (
        "level ground before the first point"
    )


def test_courses_are_guided_to_one_by_one(plan: Any) -> None:
    talk = Talk(plan, Level.BASE_TOP, Units.MILLIMETRES, 0.003)
    assert talk.said("height course").words.startswith(f"riser 1, course 1: top of course {F * 1000:.0f} mm")
    assert talk.said("riser 2 course 1").words.startswith("riser 2, course 1")
    assert talk.said("take").ask == ("point riser 2 course 1",)


def test_what_was_taken_is_told_against_its_mark(plan: Any) -> None:
    talk = Talk(plan, Level.FINISHED, Units.MILLIMETRES, 0.003)
    assert talk.answered({"ok": True, "kind": "built", "above_zero_m": F + 0.01}).endswith(": 10 mm too high")
    assert talk.answered({"ok": True, "kind": "built", "above_zero_m": F - 0.001}).endswith(": on grade")
    assert talk.answered({"ok": True, "kind": "benchmark", "above_zero_m": 0.0}) == "taken, 0 mm above zero"
    assert talk.answered({"ok": False, "message": "the line is down"}) == "not taken: the line is down"


def test_help_for_what_is_not_understood_and_an_end(plan: Any) -> None:
    talk = Talk(plan, Level.FINISHED, Units.METRES, 0.003)
    assert "Enter takes" in talk.said("what now").words
    assert talk.said("back").words == "this is the first mark"
    assert talk.said("quit").end


def test_no_layers_no_guidance_to_a_base(plan: Any) -> None:
    bare = brief_of({"steps": {"tread": "0.4 m", "landing": "1 m"}})
    with pytest.raises(Refused, match="layers"):
        Talk(SimpleNamespace(profile=plan.profile, option=plan.option, brief=bare), Level.BASE_TOP, Units.METRES, 0.003)


class QuietRecorder:
    """A recorder with an old zero that says two readings and ends."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    async def ask(self, line: str) -> dict[str, Any]:
        self.asked.append(line)
        return {"ok": True, "zero": {"age_s": 4000.0}}

    async def events(self) -> AsyncIterator[dict[str, Any]]:
        for _ in range(2):
            yield reading(0.092)


async def test_old_zero_is_asked_for_once_and_a_recorder_that_ends_is_told(
    plan: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def silence() -> AsyncIterator[str]:
        await asyncio.Event().wait()
        yield ""

    monkeypatch.setattr("tui.cli.live.typed", silence)
    said: list[dict[str, Any]] = []
    recorder: Any = QuietRecorder()
    with pytest.raises(Refused, match="recorder ended"):
        await Guided(Talk(plan, Level.BASE_TOP, Units.METRES, 0.003), recorder, said.append).run()
    assert recorder.asked == ["status", "watch on"]
    assert [event["event"] for event in said] == ["mark", "zero_due", "guidance"]
    assert said[1]["bell"] == 3


def test_what_was_taken_before_the_work_was_moved_is_known(plan: Any) -> None:
    marking = Marking(set_out(plan.profile, plan.option, plan.brief), plan.profile.ground())
    heights = ((1, "front", 0.06), (2, "front", 0.03), (1, "front", 0.091), (1, "back", 0.06), (1, "front", 0.092))
    rows = [
        Row(n=n, kind="base", setup=1, riser=riser, place=place, above_zero_m=above)
        for n, (riser, place, above) in enumerate(heights, 1)
    ]
    marking.read(rows)
    assert [row.n for row in marking.moved()] == [1], "the second and third agree, the others are of other places"
    marking.read([replace(row, struck=row.n == 1) for row in rows])
    assert marking.moved() == []


class Book:
    """A recorder whose book holds one finished step, and observes it again 40 mm higher."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    async def ask(self, line: str) -> dict[str, Any]:
        self.asked.append(line)
        step = {"kind": "built", "riser": 1, "place": "front"}
        if line.startswith("built"):
            return {"ok": True, "event": "observed", "n": 2, "above_zero_m": 0.14, **step}
        return {"ok": True, "observations": [{"n": 1, "struck": False, "above_zero_m": 0.1, **step}]}


@pytest.mark.parametrize("building", [True, False])
async def test_a_step_reset_while_building_is_struck_and_one_only_checked_is_not(plan: Any, building: bool) -> None:
    book: Any = Book()
    talk = Talk(plan, Level.FINISHED, Units.METRES, 0.003)
    await Guided(talk, book, lambda _: None, building=building)._do(talk.said(""))
    assert ("strike 1 # taken again after the work was moved" in book.asked) is building
