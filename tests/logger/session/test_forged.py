"""Sessions whose bytes are damaged or whose events were forged with digests to match: refused by number, in words."""

import io
import json
import math
from pathlib import Path
from typing import Any

import pytest

from logger.errors import CorruptSession, RiseError
from logger.profile_file import read_adjustment
from logger.session.events import GENESIS, sealed
from logger.session.jsonl import draft_of, export_jsonl, import_jsonl
from logger.session.played import played
from logger.session.replay import survey, units_of
from logger.session.store import Session
from logger.session.transport import raw_chunks
from logger.session.verify import verify

GOLDEN = Path(__file__).parents[3] / "fixtures" / "sessions"


def forged(folder: Path, n: int, changes: dict[str, Any]) -> Path:
    """The golden session with the body of event `n` changed, and every digest made to follow."""
    head, *lines = [json.loads(line) for line in (GOLDEN / "v1.jsonl").read_text(encoding="utf-8").splitlines()]
    lines[n - 1]["body"] |= changes
    before, told = GENESIS, [json.dumps(head)]
    for at, line in enumerate(lines, 1):
        before = sealed(draft_of(line), at, before).digest
        told.append(json.dumps(line | {"digest": before.hex()}))
    (folder / "forged.jsonl").write_text("\n".join(told), encoding="utf-8")
    import_jsonl(folder / "forged.jsonl", folder / "forged.walk")
    return folder / "forged.walk"


@pytest.mark.parametrize(
    "changes",
    [
        {"height_m": "1.2"},
        {"height_m": 1e300},
        {"u_m": [0.1]},
        {"u_m": -1},
        {"tape_m": {}},
        {"setup": True},
        {"stretch": 10**30},
        {"name": ["A"]},
        {"forced": "no"},
        {"riser": 1.5},
        {"n": 1},
        {"n": 100},
        {"n": -1},
    ],
    ids=str,
)
def test_an_observation_no_recorder_writes_is_named(changes: dict[str, Any], tmp_path: Path) -> None:
    path = forged(tmp_path, 6, changes)
    for read in (survey, read_adjustment, verify):
        with pytest.raises(CorruptSession, match=r"event 6 \(observed\)") as caught:
            read(path)
        assert caught.value.event == 6
    with Session.open(path) as session, pytest.raises(CorruptSession, match="event 6"):
        list(played(session))


def test_units_nobody_knows_are_named(tmp_path: Path) -> None:
    with pytest.raises(CorruptSession, match=r"event 1 \(opened\)"):
        units_of(forged(tmp_path, 1, {"units": True}))


def test_bytes_damaged_inside_an_event_are_named_by_whoever_reads_them(tmp_path: Path) -> None:
    whole = (GOLDEN / "v1.walk").read_bytes()
    path = tmp_path / "damaged.walk"
    for word in (b'"channels":[', b'"from_us":'):
        path.write_bytes(whole.replace(word, word[:1] + b"X" + word[2:]))
        for told in (lambda: export_jsonl(path, io.StringIO()), lambda: raw(path)):
            assert "event" in refusal(told)


def raw(path: Path) -> None:
    with Session.open(path) as session:
        assert all(math.isfinite(chunk.t_us) for chunk in raw_chunks(session))


def refusal(read: Any) -> str:
    try:
        read()
    except RiseError as error:
        return str(error)
    return ""


def test_a_tree_of_pages_that_leads_back_to_itself_ends(tmp_path: Path) -> None:
    whole = bytearray((GOLDEN / "v1.walk").read_bytes())
    for place, what in ((0x312031, 0x30), (0x206B6D, 0x20)):
        whole[place % len(whole)] ^= what
    (tmp_path / "damaged.walk").write_bytes(whole)
    with pytest.raises(CorruptSession):
        verify(tmp_path / "damaged.walk")
    with pytest.raises(CorruptSession, match="comes after"):
        survey(tmp_path / "damaged.walk")
