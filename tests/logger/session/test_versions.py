"""Sessions of every version are read for ever: one golden file each, never made again."""

import io
import json
from pathlib import Path

import pytest

from logger.errors import RiseError
from logger.observation import Kind, Tape
from logger.session.jsonl import export_jsonl, import_jsonl
from logger.session.replay import survey
from logger.session.store import Session
from logger.session.verify import same_profile, verify

GOLDEN = Path(__file__).parents[3] / "fixtures" / "sessions"
VERSIONS = ["v1"]


def digest_of(version: str) -> str:
    """The digest of the last event, as the text form has it."""
    *_, last = (GOLDEN / f"{version}.jsonl").read_text(encoding="utf-8").splitlines()
    return str(json.loads(last)["digest"])


@pytest.mark.parametrize("version", VERSIONS)
def test_a_golden_session_still_verifies(version: str) -> None:
    counts, recorded, derived = verify(GOLDEN / f"{version}.walk", digest_of(version))
    assert counts.digest == digest_of(version)
    assert counts.exact == counts.observations or not counts.same_way, "raise WAY in logger.session.derive"
    assert same_profile(recorded, derived) or not counts.same_way


@pytest.mark.parametrize("version", VERSIONS)
def test_its_text_form_is_the_same_session(version: str, tmp_path: Path) -> None:
    text = io.StringIO()
    export_jsonl(GOLDEN / f"{version}.walk", text)
    assert text.getvalue() == (GOLDEN / f"{version}.jsonl").read_text(encoding="utf-8")
    import_jsonl(GOLDEN / f"{version}.jsonl", tmp_path / "again.walk")
    with Session.open(tmp_path / "again.walk") as session:
        assert session.digest.hex() == digest_of(version)


def test_what_the_first_version_recorded_means_the_same() -> None:
    walked = survey(GOLDEN / "v1.walk")
    assert (walked.job, walked.tape) == ("Alder Bank, steps to the garden", Tape.TAUT)
    assert [o.kind for o in walked.observations[:6]] == [
        Kind.BENCHMARK,
        Kind.STATION,
        Kind.STATION,
        Kind.STATION,
        Kind.TURN,
        Kind.BENCHMARK,
    ]
    assert [o.n for o in walked.observations if o.struck] == [4]
    assert walked.observations[0].elevation_m == pytest.approx(30.48)
    assert walked.observations[3].offset_m == pytest.approx(-0.6096)
    assert [o.setup for o in walked.observations] == [1] * 6 + [2] * 7
    assert walked.observations[-1].forced
    assert walked.faces[0].length_m == pytest.approx(0.17145)


def test_any_byte_of_a_session_may_be_wrong(tmp_path: Path) -> None:
    """Bytes of every page changed, one at a time: a sentence or the whole truth, never a traceback."""
    whole = (GOLDEN / "v1.walk").read_bytes()
    places = [*range(0, 100, 3), *range(100, len(whole), 293), *range(0, len(whole), 4096)]
    outcomes = {"refused": 0, "whole": 0}
    for place in places:
        damaged = bytearray(whole)
        damaged[place] ^= 0xFF
        path = tmp_path / "damaged.walk"
        path.write_bytes(damaged)
        try:
            counts, *_ = verify(path)
        except RiseError as error:
            assert len(str(error)) > 20  # noqa: PT017
            outcomes["refused"] += 1
        else:
            assert counts.digest == digest_of("v1"), "a byte that SQLite does not use"
            outcomes["whole"] += 1
        for left in tmp_path.glob("damaged.walk*"):
            left.unlink()
    assert outcomes["refused"] > 50
    assert outcomes["whole"] > 5


@pytest.mark.parametrize("length", [0, 1, 99, 100, 512, 4095, 4096, 8192, 20_000])
def test_a_cut_session_is_refused(tmp_path: Path, length: int) -> None:
    (tmp_path / "cut.walk").write_bytes((GOLDEN / "v1.walk").read_bytes()[:length])
    with pytest.raises(RiseError):
        verify(tmp_path / "cut.walk")
