"""A recorded session spoken as a recorder speaks, so that the same screen shows it again: paused, stepped, faster."""

import asyncio
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

from drivers.errors import DriverError
from logger.errors import RiseError

SPEEDS = (1.0, 2.0, 5.0, 10.0, 30.0)
LONGEST_PAUSE_S = 2.0
BREATH = 200
"""Events played at once before the screen has its turn."""
PAINT_S = 0.1
TAGS = ("observed", "struck", "setup")


class Replayed:
    """One session played again; it answers `status` and `list`, and refuses what would change a session."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.speed = SPEEDS[0]
        self.paused = False
        self.ended = False
        self._rows: list[dict[str, Any]] = []
        self._live: dict[str, Any] | None = None
        self.at = ""
        self._opened: dict[str, Any] = {}
        self._zero: dict[str, Any] | None = None
        self._setup, self._surface, self._link, self._now_us = 1, "ground", "live", 0
        self._events: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue()
        self._going = asyncio.Event()
        self._going.set()
        self._steps = 0
        self._playing = asyncio.create_task(self._play())

    def pause(self) -> None:
        """Stop, or go on."""
        self.paused = not self.paused
        (self._going.clear if self.paused else self._going.set)()

    def step(self) -> None:
        """Play at once to the next thing observed, then pause."""
        self._steps, self.paused = self._steps + 1, False
        self._going.set()

    def faster(self, by: int) -> None:
        """The next speed up or down."""
        at = SPEEDS.index(self.speed) + by
        self.speed = SPEEDS[max(0, min(len(SPEEDS) - 1, at))]

    @property
    def now_s(self) -> float:
        """Seconds of the session played so far; they stand still while it is paused."""
        return self._now_us / 1e6

    async def ask(self, line: str) -> dict[str, Any]:
        """Answer what can be answered about the past."""
        match line.split(" ", 1)[0]:
            case "status":
                return self._status()
            case "list":
                return {"ok": True, "event": "list", "observations": [dict(row) for row in self._rows]}
            case "watch":
                return {"ok": True, "event": "watching"}
            case _:
                return {"ok": False, "error": "unknown_command", "message": "this is a replay; nothing can be changed"}

    async def events(self) -> AsyncIterator[dict[str, Any]]:
        """Readings as they were shown, until the session ends."""
        while (event := await self._events.get()) is not None:
            yield event

    async def close(self) -> None:
        """Stop playing."""
        self._playing.cancel()
        await asyncio.gather(self._playing, return_exceptions=True)
        self._events.put_nowait(None)

    async def _play(self) -> None:
        from logger.session.played import played
        from logger.session.store import Session

        try:
            with Session.open(self.path) as session:
                await self._through(played(session))
        except (RiseError, DriverError) as error:
            self._link = "lost"
            self._events.put_nowait({"event": "link", "link": "lost", "why": str(error)})
        self.ended = True
        self._tell_live()
        self._events.put_nowait({"event": "changed"})

    async def _through(self, told: Iterator[tuple[int, dict[str, Any]]]) -> None:
        before_us: int | None = None
        shown_us = count = 0
        for t_us, event in told:
            await self._going.wait()
            if self._steps and (count := count + 1) % BREATH == 0:
                await asyncio.sleep(0)
            if before_us is not None and not self._steps:
                wait_s = min((t_us - before_us) / 1e6, LONGEST_PAUSE_S) / self.speed
                if wait_s > 0.0005:
                    await asyncio.sleep(wait_s)
            before_us = self._now_us = t_us
            self._apply(event)
            if event["event"] in TAGS:
                self._events.put_nowait({"event": "changed"})
                if self._steps:
                    self._steps -= 1
                    if not self._steps:
                        self.pause()
                        self._tell_live()
            if t_us - shown_us >= PAINT_S * 1e6 * self.speed:
                shown_us = t_us
                self._tell_live()

    def _tell_live(self) -> None:
        if self._live is not None:
            self._events.put_nowait(dict(self._live))

    def _apply(self, event: dict[str, Any]) -> None:
        self.at = str(event.get("at") or self.at)
        match event["event"]:
            case "reading":
                self._live = {**event, "age_s": 0.0, "link": self._link}
            case "observed":
                self._rows.append(event | {"struck": False, "reason": ""})
                self._zero_from(event)
            case "struck":
                for row in self._rows:
                    if row["n"] == event["n"]:
                        row |= {"struck": True, "reason": event.get("reason", "")}
            case "setup":
                self._setup, self._zero = int(event["setup"]), None
            case "surface":
                self._surface = str(event["surface"])
            case "link":
                self._link = str(event["state"])
                self._events.put_nowait({"event": "link", "link": self._link, "why": event.get("why", "")})
            case "opened":
                self._opened = event

    def _zero_from(self, event: dict[str, Any]) -> None:
        if event["kind"] == "benchmark" or (self._zero is None and event["kind"] in ("turn", "point")):
            self._zero = {"name": event["name"], "elevation_m": event.get("elevation_m") or 0.0, "t_us": self._now_us}

    def _status(self) -> dict[str, Any]:
        zero = None
        if self._zero is not None:
            zero = self._zero | {"age_s": (self._now_us - self._zero["t_us"]) / 1e6}
        counts = {"observations": len(self._rows), "struck": sum(r["struck"] for r in self._rows)}
        told = {key: self._opened.get(key, "") for key in ("job", "port", "tape")}
        return {
            "ok": True,
            "event": "status",
            "session": str(self.path),
            **told,
            "instrument": "replay",
            "units": self._opened.get("units") or "m",
            "setup": self._setup,
            "surface": self._surface,
            "zero": zero,
            "link": self._link,
            "counts": counts,
            "last_save": self.at,
            "saved": True,
        }
