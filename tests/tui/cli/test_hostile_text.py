"""Names and notes full of escape codes, in a session from elsewhere: no command lets one out."""

import json
from pathlib import Path
from typing import Any

import pytest

from logger.session.events import GENESIS, sealed
from logger.session.jsonl import draft_of, import_jsonl

GOLDEN = Path(__file__).parents[3] / "fixtures" / "sessions" / "v1.jsonl"
HOSTILE = "\x1b[31mred\x1b]0;title\x07\x9b31m\u202e\x85\r\nZero: none [bold]x[/]<b>&</b>"


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    """The golden session with a job, names and notes of that kind, and digests to match."""
    head, *lines = [json.loads(line) for line in GOLDEN.read_text(encoding="utf-8").splitlines()]
    before, told = GENESIS, [json.dumps(head)]
    for n, line in enumerate(lines, 1):
        for key in {"job", "name", "note", "text", "why", "reason", "written"} & set(line["body"]):
            line["body"][key] += HOSTILE
        before = sealed(draft_of(line), n, before).digest
        told.append(json.dumps(line | {"digest": before.hex()}))
    (tmp_path / "got.jsonl").write_text("\n".join(told), encoding="utf-8")
    import_jsonl(tmp_path / "got.jsonl", tmp_path / "got.walk")
    return tmp_path / "got.walk"


@pytest.mark.parametrize(
    "words",
    [
        "profile got.walk",
        "profile got.walk --json",
        "replay got.walk",
        "replay got.walk --json",
        "export got.walk --to jsonl -",
        "export got.walk --to json -",
        "sheet got.walk --kind fieldbook",
        "record got.walk --port replay://got.walk",
        "verify got.walk --digest 0123456789",
    ],
)
def test_no_escape_code_reaches_the_terminal(run: Any, hostile: Path, words: str) -> None:
    done = run(*words.split(), stdin="status\nlist\n")
    assert "Traceback" not in done.stderr
    assert len(done.stdout + done.stderr) > 60
    for text in (done.stdout, done.stderr):
        assert {c for c in text if not c.isprintable()} <= {"\n"}
        assert "<html" in text or "\nZero: none" not in text, "a line of its own would be believed"
