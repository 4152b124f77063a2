"""The lines a recorder understands, and the word each wrong one is refused with."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.lengths import Units
from logger.errors import Refused
from logger.observation import Kind
from logger.recorder.commands import Other, Word, read_command
from logger.session.observed import Tag


@pytest.mark.parametrize(
    ("line", "fields"),
    [
        ("station 12.5", {"tape_m": 3.81}),
        ("station 12 ft 6 in", {"tape_m": 3.81}),
        ("station 1+25", {"tape_m": 38.1}),
        ("  station 0  ", {"tape_m": 0.0}),
        ("station 3 left 2", {"tape_m": 0.9144, "offset_m": -0.6096}),
        ("station 3 m right 18 in # by the oak", {"tape_m": 3.0, "offset_m": 0.4572, "note": "by the oak"}),
        ("benchmark BM", {"name": "BM", "given_m": None}),
        ("benchmark BM 100", {"name": "BM", "given_m": 30.48}),
        ("benchmark BM -1 m", {"name": "BM", "given_m": -1.0}),
        ('benchmark "north gate" 12 ft 6 in # bolt', {"name": "north gate", "given_m": 3.81, "note": "bolt"}),
        ("turn TP1", {"name": "TP1"}),
        ("point patio  door", {"name": "patio door"}),
        ("base 3 back", {"riser": 3, "place": "back"}),
        ("built 12 left", {"riser": 12, "place": "left", "tape_m": None}),
        ("built 3 front 8 ft # dry", {"riser": 3, "place": "front", "tape_m": 2.4384, "note": "dry"}),
        ("built 0 back", {"riser": 0, "place": "back"}),
        ("force station 4", {"tape_m": 1.2192, "forced": True}),
        ("force benchmark BM", {"name": "BM", "forced": True}),
    ],
)
def test_a_tag_is_read(line: str, fields: dict[str, object]) -> None:
    tag = read_command(line, Units.FEET_INCHES)
    assert isinstance(tag, Tag)
    assert tag.written == line.strip()
    for name, value in fields.items():
        assert getattr(tag, name) == (pytest.approx(value) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    ("line", "command"),
    [
        ("setup", Other(Word.SETUP)),
        ("surface dug", Other(Word.SURFACE, "dug")),
        ("rod 100", Other(Word.ROD, length_m=0.1)),
        ("strike 7", Other(Word.STRIKE, number=7)),
        ("strike 7 # probe slipped", Other(Word.STRIKE, "probe slipped", number=7)),
        ("note wet # since noon", Other(Word.NOTE, "wet # since noon")),
        ("watch on", Other(Word.WATCH, on=True)),
        ("watch off", Other(Word.WATCH)),
        ("face 3 172", Other(Word.FACE, "", 0.172, 3)),
        ("tread 3 406 right", Other(Word.TREAD, "right", 0.406, 3)),
        ("face 3 6 3/4 in left", Other(Word.FACE, "left", 0.17145, 3)),
        ("status", Other(Word.STATUS)),
        ("end", Other(Word.END)),
    ],
)
def test_another_command_is_read(line: str, command: Other) -> None:
    assert read_command(line, Units.MILLIMETRES) == command


@pytest.mark.parametrize(
    ("line", "error"),
    [
        ("station", "bad_length"),
        ("station twelve", "bad_length"),
        ("station 12 lightyears left", "bad_length"),
        ("station 3 left", "bad_length"),
        ("station 3 left -2", "bad_length"),
        ("station nan", "bad_length"),
        ("station 12345678 m", "bad_length"),
        ("benchmark BM 20000 km", "bad_length"),
        ("rod 99999999 m", "bad_length"),
        ("station 1e999", "bad_length"),
        ("station 6'-14\"", "bad_length"),
        ("benchmark", "unknown_command"),
        ("benchmark BM high", "bad_length"),
        ("turn", "unknown_command"),
        ("turn # nothing", "unknown_command"),
        ("rod", "bad_length"),
        ("rod -1", "bad_length"),
        ("base 3 left", "unknown_command"),
        ("built 0 front", "unknown_command"),
        ("built 0 back 3 m", "unknown_command"),
        ("built 3 front far", "bad_length"),
        ("base 3 back 2 m", "unknown_command"),
        ("tread 3", "bad_length"),
        ("built three front", "unknown_command"),
        ("face 3", "bad_length"),
        ("face x 3", "unknown_command"),
        ("surface moon", "unknown_command"),
        ("strike", "unknown_observation"),
        ("strike all", "unknown_observation"),
        ("force", "unknown_command"),
        ("force setup", "unknown_command"),
        ("watch", "unknown_command"),
        ("end now", "unknown_command"),
        ("Station 3", "unknown_command"),
        ("[/x]", "unknown_command"),
        ("note " + "x" * 5000, "unknown_command"),
        ("point " + "x" * 200, "unknown_command"),
    ],
)
def test_a_wrong_line_is_refused_with_a_sentence(line: str, error: str) -> None:
    with pytest.raises(Refused) as refused:
        read_command(line, Units.METRES)
    assert refused.value.error == error
    assert len(str(refused.value)) > 10


WORDS = st.sampled_from([*Kind, *Word, "force", "left", "right", "#", "12 ft", "1+25", "3/4", "NaN", "front"])


@given(st.lists(WORDS | st.text(max_size=12), max_size=6), st.sampled_from(Units))
def test_any_line_is_a_command_or_refused(words: list[str], units: Units) -> None:
    line = " ".join(words)
    try:
        command = read_command(line, units)
    except Refused as refused:
        assert refused.error in {"unknown_command", "bad_length", "unknown_observation"}  # noqa: PT017
    else:
        assert isinstance(command, Tag | Other)
