"""Sessions to test with: a small one without an instrument, and ways to tamper with a file."""

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from logger.session.events import Draft, EventKind, raw_draft
from logger.session.packing import RawChunk
from logger.session.store import Session

OPENED = {"tape": "level", "job": "Oak Lane", "port": "loop://", "instrument": {"text": "", "sha256": ""}, "units": "m"}


def drafts() -> list[Draft]:
    """Eleven events of several kinds, raw bytes among them."""
    raw = [RawChunk(i * 100_000, f"{i}.25 m\r\n".encode(), "") for i in range(5)]
    binary = [RawChunk(700_000, bytes(range(256)), "0x2a6c"), RawChunk(700_000, b"", "")]
    return [
        Draft(1_000_000, 0, EventKind.OPENED, OPENED),
        raw_draft(1_400_000, raw),
        Draft(1_500_000, 500_000, EventKind.NOTED, {"text": "ŝtono — \x1b[31m 石 # [/x]"}),
        raw_draft(1_700_000, binary),
        Draft(1_800_000, 800_000, EventKind.ROD, {"rod_m": 0.1}),
        Draft(1_800_000, 800_000, EventKind.SURFACE, {"surface": "dug"}),
        Draft(900_000, 900_000, EventKind.CLOCK, {"asleep_us": 0, "set_us": -3_600_000_000, "gap": False}),
        Draft(1_000_000, 1_000_000, EventKind.LINK, {"state": "lost", "why": "unplugged", "gap": True}),
        Draft(1_100_000, 1_100_000, EventKind.SETUP, {"setup": 2}),
        Draft(1_200_000, 1_200_000, "a kind of a later day", {"value": 1e-300, "list": [1, 2.5, None, True]}),
        Draft(1_300_000, 1_300_000, EventKind.CLOSED, {}),
    ]


@pytest.fixture
def sample() -> list[Draft]:
    """The events of `written`."""
    return drafts()


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """A closed session of eleven events."""
    path = tmp_path / "slope.walk"
    with Session.create(path) as session:
        session.append(drafts())
    return path


@pytest.fixture
def tamper() -> Callable[[Path, str], None]:
    """Run SQL on a session as somebody with a general tool and no scruples would: triggers dropped and put back."""

    def run(path: Path, script: str) -> None:
        connection = sqlite3.connect(path)
        triggers = connection.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        connection.executescript(script)
        for _, sql in triggers:
            connection.execute(sql)
        connection.commit()
        connection.close()

    return run
