"""Levelling notes kept on paper become a session that says what the notes said."""

from pathlib import Path

import pytest

from logger.errors import WrongFile
from logger.reduction.levels import read_levels
from logger.session.notes import import_levels
from logger.session.replay import survey
from logger.session.store import Session
from logger.session.verify import same_profile, verify

NOTES = """point,bs,is,fs,known,station
BM,1.500,,,10.0,
P1,,1.200,,,2.0
P2,,0.700,,,4.0
TP1,2.000,,0.500,,
P3,,1.100,,,6.0
BM,,,3.000,,
"""


def test_the_session_holds_the_survey_of_the_notes(tmp_path: Path) -> None:
    (tmp_path / "page.csv").write_text(NOTES)
    count = import_levels(tmp_path / "page.csv", tmp_path / "page.walk")
    recorded = survey(tmp_path / "page.walk")
    assert recorded.observations == read_levels(NOTES, "page.csv").observations
    counts, one, other = verify(tmp_path / "page.walk")
    assert (counts.events, counts.observations, counts.exact) == (count, 7, 0)
    assert same_profile(one, other)


def test_the_page_itself_is_kept(tmp_path: Path) -> None:
    (tmp_path / "page.csv").write_text(NOTES)
    import_levels(tmp_path / "page.csv", tmp_path / "page.walk")
    with Session.open(tmp_path / "page.walk") as session:
        first = next(session.events())
    assert first.body["notes"]["text"] == NOTES


@pytest.mark.parametrize("content", [b"", b"point,bs\nA,x\n", b"\xff\xfe\x00", b"point,bs,fs,known\nA,1,,\nB,,1,\n"])
def test_wrong_notes_leave_no_session(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "page.csv").write_bytes(content)
    with pytest.raises(WrongFile):
        import_levels(tmp_path / "page.csv", tmp_path / "page.walk")
    assert not list(tmp_path.glob("*.walk*"))
