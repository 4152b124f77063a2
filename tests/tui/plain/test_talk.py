"""What typed lines mean in plain mode, and what is said of readings: no process, no port, no waiting."""

from typing import Any

import pytest

from drivers.lengths import Units
from tui.plain.changes import HOLDS_S, Changes
from tui.plain.reports import HELP, book_lines
from tui.plain.talk import AT_ONCE, Leave, Talk
from tui.walking.standing import Live, row_of, standing_of
from tui.walking.telling import told
from tui.walking.walk import Walk


@pytest.fixture
async def talk(recorder: Any) -> Talk:
    """A talk on a recorder in hand, its status known."""
    walk = Walk(recorder, lambda _: None)
    await walk.refresh()
    return Talk(walk, mute=lambda: True)


async def taken(talk: Talk, line: str) -> str:
    """A line that takes a reading, taken; what is said of it."""
    reply = talk.said(line)
    answer = await talk.walk.ask_each(*reply.ask)
    assert answer["ok"], answer
    talk.done()
    return told(answer, talk.walk.rows, talk.units)


async def test_enter_walks_the_job_by_what_comes_next(talk: Talk, recorder: Any) -> None:
    assert talk.next_line() == "Next: zero on BM. Probe on BM. Enter takes it."
    assert "zero BM" in await taken(talk, "")
    assert talk.next_line() == "Next: station 0 ft. Enter takes it."
    recorder.shows(0.6)
    assert """0 ft, +0'-3 15/16" ±1/16""" in await taken(talk, "")
    assert recorder.lines == ["benchmark BM", "station 0 ft"]


@pytest.mark.parametrize(
    ("typed", "sent"),
    [
        ("12.5", "station 12.5 ft"),
        ("station 4 ft # bench", "station 4 ft # bench"),
        ("12 left 2", "station 12 ft left 2 ft"),
        ("point sill", "point sill"),
        ("benchmark BM 1 ft", "benchmark BM 1 ft"),
        ("note a root here", "note a root here"),
        ("rod 6 in", "rod 6 in"),
        ("surface dug", "surface dug"),
        ("moved", "setup"),
        ("stop", "cancel"),
        ("force point sill", "force point sill"),
        ("built 3 front", "built 3 front"),
    ],
)
async def test_a_line_is_sent_as_the_recorder_knows_it(talk: Talk, typed: str, sent: str) -> None:
    assert talk.said(typed).ask == (sent,)
    assert talk.said("12 spans").say[0].startswith("Refused: ")


async def test_moving_the_reference_end_is_led_through_and_cannot_be_half_done(talk: Talk, recorder: Any) -> None:
    await taken(talk, "zero")
    assert talk.said("turn").ask == ()
    assert talk.next_line().startswith("Next: turning point TP1. Probe on a firm point")
    await taken(talk, "")
    assert talk.next_line().startswith("Next: the reference end is moved. Move the reference end; leave TP1 untouched.")
    await talk.walk.ask_each(*talk.said("").ask)
    assert talk.next_line() == "Next: turning point TP1 again. Probe back on TP1. Enter takes it."
    refused = await talk.walk.ask_each(*talk.said("4").ask)
    assert refused["error"] == "needs_zero"
    await taken(talk, "")
    assert talk.next_line().startswith("Next: station")
    assert recorder.lines == ["benchmark BM", "turn TP1", "setup", "station 4 ft", "turn TP1"]


async def test_what_looks_like_a_slip_is_asked_and_answered_by_typing(talk: Talk, recorder: Any) -> None:
    for line in ("", "0", "2", "4"):
        await taken(talk, line)
    (asks,) = talk.said("2").say
    assert asks.startswith("Question: 2 ft is in the book already")
    assert talk.said("no").say == ("Left: nothing was done.",)
    talk.said("2")
    assert talk.said("height").say, "words that do nothing leave the question open"
    assert talk.said("yes").ask == ("station 2 ft",)
    talk.said("2")
    assert talk.said("6").ask == ("station 6 ft",), "another station is the answer no, and is taken"


async def test_undo_asks_first_and_names_what_it_strikes(talk: Talk) -> None:
    assert talk.said("undo").say == ("Nothing to undo.",)
    await taken(talk, "")
    await taken(talk, "")
    assert talk.said("undo").say == ("Question: Strike out no. 2, 0 ft? Type yes or no.",)
    assert talk.said("y").ask == ("strike 2",)
    talk.said("strike 1 # slipped")
    assert talk.said("yes").ask == ("strike 1 # slipped",)


async def test_force_takes_what_waits_else_what_is_next(talk: Talk) -> None:
    assert talk.said("force").ask == ("force benchmark BM",)
    talk.waiting = talk.said("point sill")
    assert talk.said("force").ask == ("cancel", "force point sill")


async def test_every_word_of_help_is_understood_and_nonsense_is_told(talk: Talk) -> None:
    words = {part.split(":")[0].split(" ")[0] for line in HELP for part in line.split(". ") if ":" in part}
    for word in words - {"Enter", "12.5,"}:
        assert not any(said.startswith("Unknown") for said in talk.said(word).say), word
        talk.said("no")
    for word in AT_ONCE:
        assert not any(said.startswith("Unknown") for said in talk.said(word).say), word
    assert talk.said("[/x] \x1b[2J").say[0].startswith("Unknown")
    assert talk.said("watch off").say[0].startswith("Unknown")
    assert talk.said("quit").leave is Leave.RECORDING
    assert talk.said("end").leave is Leave.ENDED


async def test_status_says_what_to_mind_first(talk: Talk, recorder: Any) -> None:
    recorder.status_extra = {"saved": False, "message": "disk full"}
    await talk.walk.refresh()
    lines = talk.said("status").say
    assert lines[0] == "Mind: NOT SAVED: disk full."
    assert "Zero: none yet." in lines
    assert lines[-1] == talk.next_line()


def live(height_m: float = 0.5, *, steady: bool = True, age_s: float = 0.1, link: str = "live") -> Live:
    return Live(height_m, height_m, 0.0004, 0.0006, 0.0005, steady, age_s, link)


def test_only_changes_are_told_each_state_by_its_word() -> None:
    now = [0.0]
    changes = Changes(lambda: now[0])
    status = {"link": "live", "zero": {"name": "BM", "age_s": 1.0}}

    def look(shown: Live, **more: Any) -> str:
        now[0] += 1.1 * HOLDS_S
        return changes.look(shown, standing_of(status | more), Units.METRES)

    assert [look(live()) for _ in range(3)] == ["", "Steady +0.500 m above BM, ±1.2 mm.", ""]
    assert [look(live(steady=False)) for _ in range(3)] == ["", "Moving.", ""]
    assert look(live()) == ""
    assert look(live(steady=False)) == "", "a flicker is not told"
    assert [look(live(0.8)) for _ in range(2)][1] == "Steady +0.800 m above BM, ±1.2 mm."
    assert look(live(0.81)) == "Steady +0.810 m above BM, ±1.2 mm.", "it crept away without ever moving"
    assert [look(live(0.81, age_s=5.0)) for _ in range(2)][1] == "Stale: the last reading is 5 s old."
    assert look(live(), link="lost", why="unplugged") == "Lost: unplugged. Waiting for it."
    assert look(live(), link="waiting") == ""
    assert [look(live(0.9)) for _ in range(2)][1] == "Live again. Steady +0.900 m above BM, ±1.2 mm."


def test_what_was_taped_is_listed_as_a_length_and_not_as_a_height() -> None:
    told = {"setup": 1, "riser": 2, "u_m": 0.0009, "side": "left"}
    rows = [row_of({"n": n, "kind": kind, "length_m": 0.15 * n} | told) for n, kind in ((1, "face"), (2, "tread"))]
    assert book_lines(rows, Units.METRES, "") == ["No. 1: face 2 left, 0.15 m.", "No. 2: tread 2 left, 0.3 m."]
