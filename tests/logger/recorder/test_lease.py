"""Clients that share control have it one at a time; some only watch; the user's own are always obeyed."""

import asyncio
from typing import Any

import pytest

from logger.recorder.lease import LEASE_S


class Screen:
    """One client of a recorder, and what it was answered last."""

    def __init__(self, recorder: Any) -> None:
        self.recorder, self.told = recorder, asyncio.Queue[dict[str, Any]]()
        self.hear = self.told.put_nowait

    async def ask(self, line: str) -> dict[str, Any]:
        self.recorder.submit(line, self.hear)
        return await self.told.get()


@pytest.fixture
async def recorder(site: Any) -> Any:
    return await site.start()


async def test_one_that_only_watches_sees_all_and_changes_nothing(recorder: Any) -> None:
    screen = Screen(recorder)
    assert await screen.ask("control off") == {
        "ok": True, "event": "control", "control": "off", "command": "control off",
    }  # fmt: skip
    for line in ("status", "list", "watch on", "watch off"):
        assert (await screen.ask(line))["ok"], line
    for line in ("benchmark BM", "force station 1", "note hello", "setup", "strike 1", "cancel", "end"):
        assert (await screen.ask(line))["error"] == "view_only", line
    assert (await screen.ask("control shared"))["error"] == "view_only", "what only watches stays so"
    assert (await screen.ask("control all"))["error"] == "unknown_command"
    assert recorder.book.notes == []


async def test_control_is_one_screens_until_it_leaves_or_rests(recorder: Any, site: Any) -> None:
    first, second, own = Screen(recorder), Screen(recorder), Screen(recorder)
    for screen in (first, second):
        assert (await screen.ask("control shared"))["ok"]
    assert (await first.ask("note one"))["ok"]
    refused = await second.ask("note two")
    assert (refused["error"], "another screen has control" in refused["message"]) == ("controlled", True)
    assert (await own.ask("note mine"))["ok"], "who says nothing of control is the user at the recorder"
    assert (await first.ask("note still mine"))["ok"]
    site.level.wait(LEASE_S + 1)
    assert (await second.ask("note rested"))["ok"]
    assert (await first.ask("note three"))["error"] == "controlled"
    recorder.leave(second.hear)
    assert (await first.ask("note left"))["ok"]
    assert [text for _, text in recorder.book.notes] == ["one", "mine", "still mine", "rested", "left"]
