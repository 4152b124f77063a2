"""Browsers on one recorder: keys that tag, a line that drops and comes back, one in control, others that watch."""

import asyncio
import json
import re
import time
from collections.abc import Callable
from typing import Any

import aiohttp
import pytest

from logger.session.verify import verify
from tui.actions import ACTIONS
from tui.serve.screen import CHANGES, LOOKS
from tui.serve.server import LEFT

PATIENCE_S = 60.0
PAINTED = re.compile(rb"\x1b\[[0-9;?]*[a-zA-Z]")


class Page:
    """What a page does: sends keys, reads what is painted until it falls silent or the line ends."""

    def __init__(self, line: aiohttp.ClientWebSocketResponse) -> None:
        self.line, self.seen = line, ""
        self._reading = asyncio.create_task(self._read())

    async def _read(self) -> None:
        async for told in self.line:
            if told.type is aiohttp.WSMsgType.BINARY:
                self.seen += PAINTED.sub(b"", told.data).decode(errors="replace")

    async def falls_silent(self) -> None:
        """Read no more, and so answer no heartbeat."""
        self._reading.cancel()
        await asyncio.gather(self._reading, return_exceptions=True)

    async def keys(self, text: str) -> None:
        await self.line.send_json(["stdin", text])

    async def shows(self, words: str) -> None:
        """Wait for words among what is painted; what was painted before is forgotten."""
        await until(lambda: words in self.seen, lambda: f"never painted: {words}, but {self.seen[-900:]}")
        self.seen = ""

    async def ends(self) -> int | None:
        """Wait until the other side has ended the line; the code it gave."""
        await asyncio.wait_for(self._reading, PATIENCE_S)
        return self.line.close_code


async def until(true: Callable[[], bool], what: Callable[[], str]) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < deadline, what()
        await asyncio.sleep(0.05)


async def tags_in_the_end(page: Page, recorder: Any, observations: int) -> None:
    """Press the take key until it is obeyed."""
    async with asyncio.timeout(PATIENCE_S):
        while (await recorder.ask("status"))["counts"]["observations"] < observations:
            await page.keys(" ")
            await asyncio.sleep(0.5)


async def counted(recorder: Any, observations: int) -> None:
    """Wait until so many are in the book."""
    async with asyncio.timeout(PATIENCE_S):
        while (await recorder.ask("status"))["counts"]["observations"] != observations:  # noqa: ASYNC110 - it is asked
            await asyncio.sleep(0.1)


async def test_a_line_that_drops_and_comes_back_finds_the_recording_whole(
    serving: Any, recorder: Any, session: Any
) -> None:
    site = await serving(control=True)
    await site.come_in()
    line = await site.socket()
    page = Page(line)
    await page.shows("Before the first reading")
    await page.keys("\r")
    await page.shows("zero on BM")
    await page.keys(" ")
    await counted(recorder, 1)
    assert line._response.connection is not None
    line._response.connection.transport.abort()  # as when the radio goes: no goodbye
    assert (await recorder.ask("station 1"))["ok"], "the recorder went on meanwhile"
    again = await site.socket()
    page = Page(again)
    await page.shows("zero BM")
    await page.keys("2")
    await page.keys("\r")
    await counted(recorder, 3)
    await again.close()
    ended = await recorder.ask("end")
    counts, _, _ = verify(session, ended["digest"])
    assert counts.observations == 3


async def test_leaving_is_told_from_dropping_and_the_recorder_stays(serving: Any, recorder: Any) -> None:
    site = await serving(control=True)
    await site.come_in()
    line = await site.socket()
    page = Page(line)
    await page.shows("Before the first reading")
    await page.keys("\r")
    await page.shows("zero on BM")
    await page.keys("q")
    await page.shows("Leave the screen?")
    await page.keys("\r")
    assert await page.ends() == LEFT
    assert (await recorder.ask("status"))["ok"]


async def test_one_browser_at_a_time_is_in_control(serving: Any, recorder: Any) -> None:
    site = await serving(control=True)
    await site.come_in()
    first, second = Page(await site.socket()), Page(await site.socket())
    for page in (first, second):
        await page.shows("Before the first reading")
        await page.keys("\r")
        await page.shows("zero on BM")
    await first.keys(" ")
    await counted(recorder, 1)
    await second.shows("▸ station 0 m")
    await second.keys(" ")
    await second.shows("another screen has control")
    await first.line.close()
    await tags_in_the_end(second, recorder, 2)
    await second.line.close()


@pytest.mark.slow
async def test_a_phone_that_falls_silent_has_control_no_more(
    serving: Any, recorder: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tui.serve.server.HEARTBEAT_S", 10.0)
    site = await serving(control=True)
    await site.come_in()
    silent = Page(await site.socket())
    await silent.shows("Before the first reading")
    await silent.keys("\r")
    await silent.shows("zero on BM")
    await silent.keys(" ")
    await counted(recorder, 1)
    await silent.falls_silent()
    monkeypatch.setattr("tui.serve.server.HEARTBEAT_S", 60.0)
    other = Page(await site.socket())
    await other.shows("▸ station 0 m")
    await other.keys(" ")
    await other.shows("another screen has control")
    await tags_in_the_end(other, recorder, 2)
    await other.line.close()


async def test_one_that_watches_changes_nothing_but_looks_around(serving: Any, recorder: Any) -> None:
    site = await serving()
    await site.come_in()
    page = Page(await site.socket())
    await page.shows("Before the first reading")
    await page.keys("\r")
    await page.shows("zero on BM")
    await page.keys(" ")
    await page.shows("only watches")
    await page.line.send_str(json.dumps(["stdin"]) + "[" * 5000)
    await page.line.send_json(["resize", {"width": "x", "height": -1}])
    await page.keys("\t")
    await page.shows("why not")
    assert (await recorder.ask("status"))["counts"]["observations"] == 0
    await page.keys("q")
    assert await page.ends() == LEFT


def test_every_action_is_known_to_look_or_to_change() -> None:
    assert {action.name for action in ACTIONS} >= LOOKS
    assert {"take", "strike_row", "begin", "open", "export", "keep", "force"} <= CHANGES


@pytest.mark.parametrize("text", ["", "nothing", "[[", '["stdin", 1]', '["resize", {}]', '{"stdin": 1}'])
async def test_what_no_page_of_ours_sends_is_left(text: str) -> None:
    from tui.serve.server import _obey

    await _obey(None, None, text)  # type: ignore[arg-type]
