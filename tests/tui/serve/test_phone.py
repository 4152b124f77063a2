"""The page on a phone's screen: it loads from this computer alone, the terminal paints, one key tags a station."""

import asyncio
import base64
import contextlib
import itertools
import shutil
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from tui.serve.server import STATIC

CHROMIUM = shutil.which("chromium")
QUIET = [
    *("--headless", "--no-sandbox", "--no-first-run", "--mute-audio", "--remote-debugging-port=0"),
    *("--enable-unsafe-swiftshader", "--force-device-scale-factor=2", "--disable-dev-shm-usage"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]
PATIENCE_S = 60.0
WIDTH, HEIGHT = 390, 844


class Phone:
    """One page of the browser."""

    def __init__(self, line: aiohttp.ClientWebSocketResponse) -> None:
        self._line = line
        self._numbers = itertools.count(1)
        self.asked: list[str] = []
        """Addresses of everything the page asked for."""

    async def __call__(self, method: str, **params: Any) -> dict[str, Any]:
        number = next(self._numbers)
        await self._line.send_json({"id": number, "method": method, "params": params})
        async with asyncio.timeout(PATIENCE_S):
            while True:
                told = await self._line.receive_json()
                if told.get("method") == "Network.requestWillBeSent":
                    self.asked.append(told["params"]["request"]["url"])
                if told.get("id") == number:
                    assert "error" not in told, told
                    return dict(told["result"])

    async def value(self, script: str) -> Any:
        return (await self("Runtime.evaluate", expression=script, awaitPromise=True))["result"].get("value")

    async def until(self, script: str) -> None:
        """Wait until the page says so."""
        async with asyncio.timeout(PATIENCE_S):
            while not await self.value(script):  # noqa: ASYNC110 - the page is asked
                await asyncio.sleep(0.1)

    async def press(self, key: str, text: str = "", code: int = 0) -> None:
        about = {"key": key, "windowsVirtualKeyCode": code, "text": text}
        await self("Input.dispatchKeyEvent", type="keyDown", **about)
        await self("Input.dispatchKeyEvent", type="keyUp", **about)

    async def tap(self, x: float, y: float) -> None:
        points = [{"x": x, "y": y}]
        await self("Input.dispatchTouchEvent", type="touchStart", touchPoints=points)
        await self("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    async def picture(self) -> bytes:
        return base64.b64decode((await self("Page.captureScreenshot"))["data"])


@contextlib.asynccontextmanager
async def phone() -> AsyncIterator[Phone]:
    """A browser with one page; it and its folder are gone afterwards."""
    assert CHROMIUM is not None
    with tempfile.TemporaryDirectory(prefix="phone-", ignore_cleanup_errors=True) as folder:
        process = await asyncio.create_subprocess_exec(
            CHROMIUM, *QUIET, f"--user-data-dir={folder}", "about:blank", stderr=asyncio.subprocess.PIPE
        )
        assert process.stderr is not None
        try:
            async with asyncio.timeout(PATIENCE_S):
                while b"DevTools listening on" not in (line := await process.stderr.readline()):
                    assert line, "the browser ended before it listened"
            server = line.decode().split("ws://")[1].split("/")[0]
            draining = asyncio.create_task(process.stderr.read())
            async with aiohttp.ClientSession() as session:
                async with session.put(f"http://{server}/json/new?about:blank") as answer:
                    address = (await answer.json())["webSocketDebuggerUrl"]
                async with session.ws_connect(address, max_msg_size=0) as line_to_page:
                    page = Phone(line_to_page)
                    size = {"width": WIDTH, "height": HEIGHT, "deviceScaleFactor": 0, "mobile": True}
                    await page("Emulation.setDeviceMetricsOverride", **size)
                    await page("Emulation.setTouchEmulationEnabled", enabled=True)
                    await page("Network.enable")
                    await page("Page.enable")
                    yield page
            draining.cancel()
            await asyncio.gather(draining, return_exceptions=True)
        finally:
            with contextlib.suppress(ProcessLookupError):
                process.terminate()
            await process.wait()


async def in_the_book(recorder: Any, observations: int) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while (await recorder.ask("status"))["counts"]["observations"] != observations:  # noqa: ASYNC110 - it is asked
            await asyncio.sleep(0.1)


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed; it is the phone of this test")
async def test_a_phone_shows_the_walk_and_a_key_and_a_tap_tag(serving: Any, recorder: Any, tmp_path: Path) -> None:
    site = await serving(control=True)
    async with phone() as page:
        empty = len(await page.picture())
        await page("Page.navigate", url=f"{site.origin}{site.link()}")
        await page.until("document.body !== null && document.body.classList.contains('-first-byte')")
        assert await page.value("location.href") == f"{site.origin}/", "the token does not stay in the address"
        assert await page.value("document.documentElement.scrollWidth") <= WIDTH, "nothing lies beyond the edge"
        assert await page.value("document.querySelector('.xterm-helper-textarea').inputMode") == "none"
        await page.value("document.querySelector('button[data-key=enter]').click()")
        async with asyncio.timeout(PATIENCE_S):
            while not (await recorder.ask("status"))["counts"]["observations"]:
                await page.press(" ", " ", 32)
                await asyncio.sleep(0.5)
        picture = await page.picture()
        (tmp_path / "phone.png").write_bytes(picture)
        assert len(picture) > 3 * empty, "something is painted"
        taken = (await recorder.ask("status"))["counts"]["observations"]
        terminal = await page.value("document.querySelector('#terminal').clientHeight")
        await page.tap(WIDTH / 2, terminal - 80)
        await in_the_book(recorder, taken + 1)
        assert {address.split("?")[0] for address in page.asked if not address.startswith("data:")} <= {
            f"{site.origin}/", *(f"{site.origin}/static/{name}" for name in STATIC),
        }  # fmt: skip
