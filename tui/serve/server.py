"""The web server: one page, its style and script, and a socket a browser; nothing else is answered."""

import asyncio
import contextlib
import json
import logging
from collections.abc import Callable, Sequence
from importlib.resources import files
from typing import Any

from aiohttp import WSMsgType, web

from tui.serve.door import Door
from tui.serve.process import AppProcess, cells

log = logging.getLogger(__name__)
HEARTBEAT_S = 5.0
CLOSES_WITHIN_S = 0.5
LONGEST_MESSAGE = 64 * 1024
LEFT = 4000
"""Close code of a screen that was left, so that the page does not come back by itself."""
STATIC = {
    "page.css": ("tui.serve", "page.css", "text/css"),
    "page.js": ("tui.serve", "page.js", "text/javascript"),
    "textual.js": ("textual_serve", "static/js/textual.js", "text/javascript"),
    "xterm.css": ("textual_serve", "static/css/xterm.css", "text/css"),
}
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "connect-src 'self' ws://{host}; img-src data:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cache-Control": "no-store",
}


class Server:
    """Answers browsers that the door knows. `words` are the arguments of an app process, `mode` what it may do."""

    def __init__(self, door: Door, words: Sequence[str], mode: str, *, entered: Callable[[str], None]) -> None:
        self._door, self._words, self._mode, self._entered = door, words, mode, entered
        self._cookie = f"risewalk-{id(self):x}"
        self._sockets: set[web.WebSocketResponse] = set()
        self._leaving: set[asyncio.Task[None]] = set()

    def application(self) -> web.Application:
        """The routes."""
        app = web.Application(middlewares=[self._guarded])
        app.add_routes(
            [
                web.get("/", self._page),
                web.get("/static/{name}", self._static),
                web.get("/socket", self._socket),
            ]
        )
        app.on_shutdown.append(self._shut)
        app.on_cleanup.append(self._see_off)
        return app

    @web.middleware
    async def _guarded(self, request: web.Request, handler: Any) -> web.StreamResponse:
        """Only for this computer's own names, only from our own page, only for who was let in."""
        origin = request.headers.get("Origin")
        if not self._door.is_ours(request.host, origin):
            return web.Response(status=403, text="This page answers only by this computer's own address.\n")
        admitted = None
        if not self._door.knows(request.cookies.get(self._cookie)):
            admitted = self._door.admit(request.query.get("token", "")) if request.path == "/" else None
            if admitted is None:
                return web.Response(status=403, text="Open the link or the QR code in the terminal; it works once.\n")
            self._entered(request.remote or "somebody")
        response: web.StreamResponse = await handler(request)
        if admitted is not None:
            response.set_cookie(self._cookie, admitted, httponly=True, samesite="Strict", path="/")
        return response

    def _answer(self, request: web.Request, text: str, content_type: str) -> web.Response:
        headers = {name: value.replace("{host}", request.host) for name, value in HEADERS.items()}
        return web.Response(text=text, content_type=content_type, headers=headers)

    async def _page(self, request: web.Request) -> web.Response:
        text = _resource("tui.serve", "page.html").replace("SOCKET", "/socket").replace("MODE", self._mode)
        return self._answer(request, text, "text/html")

    async def _static(self, request: web.Request) -> web.Response:
        if (found := STATIC.get(request.match_info["name"])) is None:
            raise web.HTTPNotFound
        package, name, content_type = found
        return self._answer(request, _resource(package, name), content_type)

    async def _socket(self, request: web.Request) -> web.StreamResponse:
        if request.headers.get("Origin") is None:
            return web.Response(status=403, text="Only the page itself may open the socket.\n")
        socket = web.WebSocketResponse(heartbeat=HEARTBEAT_S, timeout=CLOSES_WITHIN_S, max_msg_size=LONGEST_MESSAGE)
        await socket.prepare(request)

        async def left() -> None:
            await socket.close(code=LEFT, message=b"Left. The recorder goes on.")

        process = AppProcess(self._words, write_bytes=socket.send_bytes, close=left)
        self._sockets.add(socket)
        try:
            await process.start(cells(request.query.get("width"), 80), cells(request.query.get("height"), 24))
            async for message in socket:
                if message.type is WSMsgType.TEXT:
                    await _obey(process, socket, message.data)
        finally:
            self._sockets.discard(socket)
            leaving = asyncio.create_task(process.leave())
            self._leaving.add(leaving)
            leaving.add_done_callback(self._leaving.discard)
            await asyncio.shield(leaving)
        return socket

    async def _shut(self, _: web.Application) -> None:
        """Close the lines; the screens behind them end with them."""
        await asyncio.gather(*(socket.close(code=1001) for socket in set(self._sockets)), return_exceptions=True)

    async def _see_off(self, _: web.Application) -> None:
        """No app process outlives its server."""
        await asyncio.gather(*self._leaving, return_exceptions=True)


async def _obey(process: AppProcess, socket: web.WebSocketResponse, text: str) -> None:
    """Do what a page sends; what no page of ours would send is left."""
    with contextlib.suppress(ValueError, RecursionError):
        match json.loads(text):
            case ["stdin", str(keys)]:
                await process.send_bytes(keys.encode(errors="replace"))
            case ["resize", {"width": int(width), "height": int(height)}]:
                await process.set_terminal_size(cells(width, 80), cells(height, 24))
            case ["ping", str(sent)]:
                await socket.send_json(["pong", sent[:40]])
            case ["blur"]:
                await process.blur()
            case ["focus"]:
                await process.focus()


def _resource(package: str, name: str) -> str:
    return files(package).joinpath(name).read_text(encoding="utf-8")
