"""Sessions damaged at random, in their bytes and in their text form: a sentence from every reader, never a traceback."""

import io
import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logger.errors import RiseError
from logger.profile_file import read_adjustment
from logger.session.events import GENESIS, sealed
from logger.session.jsonl import draft_of, export_jsonl, import_jsonl
from logger.session.played import played
from logger.session.replay import survey, units_of
from logger.session.store import Session
from logger.session.verify import verify

ROOT = Path(__file__).parents[3]
GOLDEN = ROOT / "fixtures" / "sessions" / "v1"
WHOLE = GOLDEN.with_suffix(".walk").read_bytes()
LINES = [json.loads(line) for line in GOLDEN.with_suffix(".jsonl").read_text(encoding="utf-8").splitlines()]
FIELDS = [(n, key) for n, line in enumerate(LINES[1:], 1) if line["kind"] != "raw" for key in line["body"]]
VALUES = [None, True, -1, 10**30, 1.5, -1e308, 1e-320, math.inf, math.nan, "", "1", [], [1], {}, {"text": 1}]
AT_LEISURE = settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


def play(path: Path) -> None:
    with Session.open(path) as session:
        json.dumps(list(played(session)), allow_nan=False)


READERS = (survey, units_of, read_adjustment, verify, play, lambda path: export_jsonl(path, io.StringIO()))


def read_by_all(path: Path) -> None:
    """One refusal does not spare the next reader."""
    for read in READERS:
        try:
            read(path)
        except RiseError as error:
            assert len(str(error).split()) > 3, error  # noqa: PT017


@AT_LEISURE
@given(st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.binary(max_size=20)), min_size=1, max_size=4))
def test_any_bytes_may_stand_anywhere(tmp_path: Path, changes: list[tuple[int, bytes]]) -> None:
    damaged = bytearray(WHOLE)
    for place, what in changes:
        damaged[place : place + len(what)] = what
    path = tmp_path / "damaged.walk"
    path.write_bytes(damaged)
    read_by_all(path)
    for left in tmp_path.glob("damaged.walk*"):
        left.unlink()


@AT_LEISURE
@given(st.sampled_from(FIELDS), st.sampled_from(VALUES))
def test_any_value_may_stand_in_any_event_though_the_digests_follow(
    tmp_path: Path, field: tuple[int, str], value: Any
) -> None:
    before, told = GENESIS, [json.dumps(LINES[0])]
    path = tmp_path / "forged.walk"
    try:
        for n, line in enumerate(LINES[1:], 1):
            body = line["body"] | ({field[1]: value} if n == field[0] else {})
            before = sealed(draft_of(line | {"body": body}), n, before).digest
            told.append(json.dumps(line | {"body": body, "digest": before.hex()}))
    except ValueError:
        return  # not finite: it cannot be written at all
    (tmp_path / "forged.jsonl").write_text("\n".join(told), encoding="utf-8")
    import_jsonl(tmp_path / "forged.jsonl", path)
    read_by_all(path)
    path.unlink()


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_the_long_run_finds_nothing(tmp_path: Path) -> None:
    """Every target of the fuzzing command, guided by coverage where atheris is installed."""
    command = [sys.executable, ROOT / "tests" / "bench" / "fuzz.py", "--inputs", "1500", "--keep", tmp_path]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [t["crashes"] for t in told] == [{}] * 11, done.stderr
    assert done.returncode == 0
