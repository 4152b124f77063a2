"""A recorder in the test's own hands: it speaks the record protocol, on whatever ground the test says."""

import asyncio
from collections.abc import AsyncIterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from drivers.lengths import Units
from logger.errors import Refused
from logger.recorder.commands import Other, Word, read_command
from logger.session.observed import Tag
from tui.walking.walk import Walk

AT = "2026-05-04T14:03:22.120Z"


class InHand:
    """Answers as a recorder does; heights come from `height_m`, which the test sets."""

    def __init__(self, units: Units = Units.FEET_INCHES, job: str = "Alder Bank") -> None:
        self.units, self.job = units, job
        self.height_m = 0.5
        self.steady = True
        self.setup, self.surface, self.rod_m = 1, "ground", 0.0
        self.zero: tuple[str, float] | None = None
        self.rows: list[dict[str, Any]] = []
        self.lines: list[str] = []
        self.link = "live"
        self.closed = False
        self.status_extra: dict[str, Any] = {}
        self.instrument = "Hose level"
        self._events: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue()
        self._steady = asyncio.Event()
        self._cancelled = False

    def shows(self, height_m: float, *, steady: bool = True, age_s: float = 0.0, **more: Any) -> None:
        """The instrument shows this height now."""
        self.height_m, self.steady = height_m, steady
        if steady:
            self._steady.set()
        above = None if self.zero is None else height_m - self.zero[1]
        event = {
            "event": "reading",
            "height_m": height_m,
            "above_zero_m": above,
            "u_m": 0.0003,
            "above_zero_u_m": 0.0004,
            "spread_m": 0.0005,
        }
        self._events.put_nowait({**event, "steady": steady, "age_s": age_s, "link": self.link, **more})

    def loses_link(self, why: str = "unplugged") -> None:
        """The line goes away, and the zero with it."""
        self.link, self.zero = "lost", None
        self._events.put_nowait({"event": "link", "link": "lost", "why": why})

    def dies(self) -> None:
        """The process is killed."""
        self.closed = True
        self._events.put_nowait(None)

    async def events(self) -> AsyncIterator[dict[str, Any]]:
        while (event := await self._events.get()) is not None:
            yield event

    async def close(self) -> None:
        self.closed = True

    async def ask(self, line: str) -> dict[str, Any]:
        if self.closed:
            raise ConnectionResetError("the recorder is gone")
        if line not in ("status", "list"):
            self.lines.append(line)
        try:
            return await self._answer(line)
        except Refused as refusal:
            return {"ok": False, "error": refusal.error, "message": str(refusal)}

    async def _answer(self, line: str) -> dict[str, Any]:
        command = read_command(line, self.units)
        if isinstance(command, Tag):
            if not self.steady and not command.forced:
                self._steady.clear()
                self._cancelled = False
                await self._steady.wait()
                if self._cancelled:
                    raise Refused("cancelled", "the wait was ended")
            return self._observed(command)
        return self._other(command)

    def _observed(self, tag: Tag) -> dict[str, Any]:
        known = [r for r in self.rows if r.get("name") == tag.name and tag.name]
        if self.zero is None:
            if tag.kind == "benchmark":
                self.zero = (tag.name, self.height_m - (tag.given_m or 0.0))
            elif known:
                self.zero = (tag.name, self.height_m - known[-1]["above_zero_m"])
            else:
                raise Refused("needs_zero", "observe the zero first: benchmark NAME")
        row: dict[str, Any] = {"ok": True, "event": "observed", "n": len(self.rows) + 1, "kind": str(tag.kind)}
        row |= {
            "setup": self.setup,
            "name": tag.name,
            "height_m": self.height_m,
            "u_m": 0.0003,
            "above_zero_u_m": 0.0004,
            "at": AT,
        }
        row |= {"above_zero_m": self.height_m - self.zero[1], "readings": 12, "steady": self.steady}
        row |= {"surface": self.surface, "riser": tag.riser, "place": tag.place, "forced": tag.forced}
        if tag.tape_m is not None:
            row |= {"station_m": tag.tape_m, "offset_m": tag.offset_m}
        if tag.note:
            row["note"] = tag.note
        if known:
            row["misclosure_m"] = row["above_zero_m"] - known[-1]["above_zero_m"]
        self.rows.append(row | {"struck": False, "reason": ""})
        return row

    def _other(self, command: Other) -> dict[str, Any]:
        match command.word:
            case Word.STATUS:
                return self._status()
            case Word.LIST:
                return {"ok": True, "event": "list", "observations": list(self.rows)}
            case Word.SETUP:
                self.setup, self.zero = self.setup + 1, None
                return {"ok": True, "event": "setup", "setup": self.setup, "needs_zero": True}
            case Word.STRIKE:
                self.rows[command.number - 1] |= {"struck": True, "reason": command.text}
                return {"ok": True, "event": "struck", "n": command.number, "reason": command.text}
            case Word.NOTE:
                return {"ok": True, "event": "noted", "text": command.text}
            case Word.SURFACE:
                self.surface = command.text
                return {"ok": True, "event": "surface", "surface": command.text}
            case Word.CANCEL:
                self._cancelled = True
                self._steady.set()
                return {"ok": True, "event": "cancelled", "cancelled": None}
            case Word.END:
                self.dies()
                return {"ok": True, "event": "ended"}
            case _:
                return {"ok": True, "event": str(command.word)}

    def _status(self) -> dict[str, Any]:
        zero = None if self.zero is None else {"name": self.zero[0], "elevation_m": 0.0, "at": AT, "age_s": 60.0}
        counts = {"observations": len(self.rows), "struck": sum(r["struck"] for r in self.rows), "rejects": {}}
        told = {"ok": True, "event": "status", "session": "bank.walk", "job": self.job, "port": "/dev/ttyS9"}
        told |= {"units": str(self.units), "tape": "level", "setup": self.setup, "surface": self.surface}
        told |= {"rod_m": self.rod_m, "needs_zero": zero is None, "zero": zero, "link": self.link, "why": ""}
        told |= {"battery": 0.8, "counts": counts, "last_save": AT, "last_save_age_s": 3.0, "saved": True}
        return (
            told
            | {"instrument": self.instrument, "message": "", "waiting": None, "digest": "ab" * 32}
            | self.status_extra
        )


@pytest.fixture(autouse=True)
def nothing_remembered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the screen remembers of the last instrument is the test's own."""
    for name in ("XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))


@pytest.fixture
def recorder() -> InHand:
    """A recorder whose first status and reading are there already."""
    in_hand = InHand()
    in_hand.shows(0.5)
    return in_hand


@pytest.fixture
def clock_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    """However slow the machine is, what was told is as old as it was told to be."""
    monkeypatch.setattr("tui.app.Walk", partial(Walk, clock=lambda: 0.0))


@pytest.fixture
def bank(tmp_path: Path) -> Path:
    """Where the session would be."""
    return tmp_path / "bank.walk"
