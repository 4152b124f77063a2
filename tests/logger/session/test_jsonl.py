"""JSON Lines: out and in again without a difference, fit for `diff`, every mistake named."""

import io
import json
import subprocess
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logger.errors import CannotWrite, FileError, RiseError, WrongFile
from logger.session.events import GENESIS, Draft, EventKind, sealed
from logger.session.jsonl import copy_session, export_jsonl, import_jsonl
from logger.session.store import Session


def exported(path: Path) -> str:
    out = io.StringIO()
    export_jsonl(path, out)
    return out.getvalue()


def test_there_and_back_is_the_same_to_the_digest(written: Path, tmp_path: Path) -> None:
    text = exported(written)
    (tmp_path / "slope.jsonl").write_text(text, encoding="utf-8")
    again = tmp_path / "again.walk"
    assert import_jsonl(tmp_path / "slope.jsonl", again) == 11
    with Session.open(written) as one, Session.open(again) as other:
        assert list(one.events()) == list(other.events())
    assert exported(again) == text


def test_every_line_is_one_object_that_a_terminal_shows_as_it_is(written: Path) -> None:
    lines = exported(written).splitlines()
    assert len(lines) == 12
    assert all(isinstance(json.loads(line), dict) and line.isprintable() for line in lines)


def test_what_is_added_to_a_session_is_added_to_its_text(written: Path, tmp_path: Path) -> None:
    before = exported(written)
    with Session.resume(written) as session:
        session.append([Draft(1, 1, EventKind.NOTED, {"text": "later"})])
    after = exported(written)
    assert after.startswith(before)
    (tmp_path / "a").write_text(before)
    (tmp_path / "b").write_text(after)
    shown = subprocess.run(
        ["git", "diff", "--no-index", "--numstat", "a", "b"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert shown.stdout.split()[:2] == ["1", "0"]


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('"rod_m":0.1', '"rod_m":0.2', 6),
        ('"n":4,', '"n":5,', 5),
        ('"rod_m":0.1', '"rod_m":NaN', 6),
        ("1.25 m", "1.26 m", 3),
        ('"t_us":800000', '"t_us":"soon"', 6),
        ("1970-01-01T00:00:01.000000Z", "1970-13-01T00:00:01.000000Z", 2),
        ("1970-01-01T00:00:01.000000Z", "long ago", 2),
        ('{"n":1,', '{"n":1,,', 2),
        ('{"n":1,', "[1]\n{", 2),
        ('"kind":"opened",', "", 2),
    ],
)
def test_a_wrong_line_is_named_and_nothing_is_left(
    written: Path, tmp_path: Path, *, old: str, new: str, line: int
) -> None:
    text = exported(written)
    assert old in text
    (tmp_path / "wrong.jsonl").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(WrongFile, match=rf"line {line}: "):
        import_jsonl(tmp_path / "wrong.jsonl", tmp_path / "out.walk")
    assert not list(tmp_path.glob("out.walk*"))


@pytest.mark.parametrize("content", [b"", b"{}\n", b'{"schema":"risewalk.session/1"}\n', b"\xff\xfe", b"[" * 100_000])
def test_what_is_no_session_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "odd.jsonl").write_bytes(content)
    with pytest.raises(WrongFile):
        import_jsonl(tmp_path / "odd.jsonl", tmp_path / "out.walk")
    assert not (tmp_path / "out.walk").exists()


def test_an_existing_session_is_not_overwritten(written: Path, tmp_path: Path) -> None:
    (tmp_path / "slope.jsonl").write_text(exported(written), encoding="utf-8")
    for make in (lambda: import_jsonl(tmp_path / "slope.jsonl", written), lambda: copy_session(written, written)):
        with pytest.raises(CannotWrite, match="exists"):
            make()
    with pytest.raises(FileError):
        import_jsonl(tmp_path / "none.jsonl", tmp_path / "out.walk")


@pytest.mark.parametrize(
    "changes",
    [
        {"t_us": 2**64},
        {"body": {"text": "half of \udc80"}},
        {"raw": 7},
        {"kind": "raw", "raw": [[0, "port", 7]]},
        {"kind": "raw", "raw": {"0": []}},
        {"kind": "raw", "raw": [[True, "port", "1.2"]]},
    ],
    ids=str,
)
def test_what_cannot_be_kept_is_refused_by_its_line_though_its_digest_follows(
    tmp_path: Path, changes: dict[str, Any]
) -> None:
    told = {"n": 1, "at": "2026-05-04T14:03:22.000000Z", "t_us": 0, "kind": "noted", "body": {"text": "x"}} | changes
    event = sealed(Draft(1777903402000000, told["t_us"], told["kind"], told["body"]), 1, GENESIS)
    lines = [{"schema": "risewalk.session/1"}, told | {"digest": event.digest.hex()}]
    (tmp_path / "odd.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    with pytest.raises(WrongFile, match="line 2: "):
        import_jsonl(tmp_path / "odd.jsonl", tmp_path / "out.walk")
    assert not list(tmp_path.glob("out.walk*"))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)
KEYS = st.sampled_from(["n", "at", "t_us", "kind", "body", "raw", "digest", "schema"])


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.dictionaries(KEYS, JSON) | JSON, max_size=4))
def test_any_json_is_imported_or_refused_in_a_sentence(tmp_path: Path, lines: list[object]) -> None:
    text = "".join(json.dumps(line) + "\n" for line in [{"schema": "risewalk.session/1"}, *lines])
    (tmp_path / "odd.jsonl").write_text(text)
    with pytest.raises(RiseError) as refused:
        import_jsonl(tmp_path / "odd.jsonl", tmp_path / "out.walk")
    assert len(str(refused.value)) > 20
    assert not list(tmp_path.glob("out.walk*"))
