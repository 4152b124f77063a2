"""Raw bytes come back as they went in, and nothing else passes for them."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.session.packing import Batch, RawChunk, pack, unpack

GAPS = st.integers(0, 2**40)
CHANNELS = st.sampled_from(["", "0000", "2a6c", "ŝ"])


@given(st.lists(st.tuples(GAPS, st.binary(max_size=300), CHANNELS), min_size=1, max_size=30))
def test_any_chunks_come_back(parts: list[tuple[int, bytes, str]]) -> None:
    t_us, chunks = 0, []
    for gap, data, channel in parts:
        t_us += gap
        chunks.append(RawChunk(t_us, data, channel))
    assert list(unpack(pack(chunks))) == chunks


@given(st.binary(max_size=60), st.integers(0, 3), st.integers(0, 2**50))
def test_any_bytes_are_chunks_or_refused(packed: bytes, channels: int, to_us: int) -> None:
    with contextlib.suppress(ValueError):
        assert b"".join(c.data for c in unpack(Batch(("",) * channels, 0, to_us, packed))) in packed


def test_times_must_not_fall() -> None:
    with pytest.raises(ValueError, match="order"):
        pack([RawChunk(5, b"a"), RawChunk(4, b"b")])


def test_a_line_at_ten_hertz_costs_few_bytes_beside_its_own() -> None:
    chunks = [RawChunk(i * 100_000, b"+0.8123 m\r\n") for i in range(10)]
    assert len(pack(chunks).packed) <= sum(len(c.data) for c in chunks) + 10 * 5 + 1
