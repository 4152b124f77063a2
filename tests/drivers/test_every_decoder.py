"""What holds for every registered decoder: the same readings however bytes are cut, junk survived, memory bounded."""

import random
import sys
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.decoders import Decoder
from drivers.instrument import InstrumentFile, load
from drivers.reading import Chunk, Reading, Reject
from drivers.registry import DECODERS, make_decoder
from drivers.simulator.ground import Ground
from drivers.simulator.speech import SPEECHES
from drivers.simulator.virtual import VirtualInstrument

SPOKEN = {name: speech().instrument for name, speech in SPEECHES.items()}
WITHOUT_SPEECH = {"gatt"}
"""Decoders whose bytes are no stream; they have their own tests."""
COUNT = 25


def said(speak: str, count: int = COUNT) -> list[bytes]:
    """What a virtual instrument says or answers, one piece a reading, on a clock of its own."""
    virtual = VirtualInstrument(Ground.through(((0.0, 0.3), (5.0, 1.7))), speak, seed=5, rate_hz=10)
    decoder = make_decoder(load(SPOKEN[speak]))
    pieces = []
    for i in range(count):
        now = 100.0 + i / 10
        virtual.hose.at(0.1 * i, now)
        request = decoder.request()
        answer = virtual.hear(request, now) if request is not None else virtual.due(now)
        pieces.append(answer)
        decoder.feed(Chunk(now, answer))
    return pieces


def decode(instrument: InstrumentFile, pieces: Sequence[bytes], gap_s: float = 0.1) -> tuple[list[Reading], Decoder]:
    decoder = make_decoder(instrument)
    readings = [r for i, piece in enumerate(pieces) for r in decoder.feed(Chunk(i * gap_s, piece))]
    return readings, decoder


def heights(readings: Sequence[Reading]) -> list[float]:
    return [r.height_m for r in readings]


def test_every_decoder_is_spoken_by_the_simulator() -> None:
    kinds = {load(name).decoder.kind for name in SPOKEN.values()}
    assert kinds == set(DECODERS) - WITHOUT_SPEECH


@pytest.mark.parametrize("speak", SPOKEN)
def test_whole_stream_reads_the_ground(speak: str) -> None:
    readings, decoder = decode(load(SPOKEN[speak]), said(speak))
    assert len(readings) >= COUNT - 2
    assert readings[-1].height_m == pytest.approx(0.3 + 0.28 * 0.1 * (COUNT - 1), abs=0.35)
    assert set(decoder.rejects) <= {Reject.NOT_MINE, Reject.LENGTH}


@pytest.mark.parametrize("speak", SPOKEN)
def test_byte_by_byte_is_the_same(speak: str) -> None:
    instrument, data = load(SPOKEN[speak]), b"".join(said(speak))
    whole, _ = decode(instrument, [data])
    single, _ = decode(instrument, [data[i : i + 1] for i in range(len(data))], gap_s=0.001)
    assert heights(single) == heights(whole)


@pytest.mark.parametrize("speak", SPOKEN)
@settings(deadline=None, max_examples=30)
@given(st.data())
def test_cut_anywhere_is_the_same(speak: str, data: st.DataObject) -> None:
    stream = b"".join(said(speak, 12))
    cuts = sorted(data.draw(st.sets(st.integers(1, len(stream) - 1), max_size=12)))
    pieces = [stream[a:b] for a, b in pairwise([0, *cuts, len(stream)])]
    instrument = load(SPOKEN[speak])
    assert heights(decode(instrument, pieces, 0.001)[0]) == heights(decode(instrument, [stream])[0])


@pytest.mark.parametrize("speak", SPOKEN)
@settings(deadline=None, max_examples=30)
@given(junk=st.lists(st.binary(max_size=40), min_size=3, max_size=3))
def test_junk_before_between_and_after_invents_nothing(speak: str, junk: list[bytes]) -> None:
    instrument, pieces = load(SPOKEN[speak]), said(speak, 12)
    clean = Counter(heights(decode(instrument, pieces)[0]))
    end = SPEECHES[speak]().end
    safe = [bytes(b for b in j if b >= 0x80 or not end) for j in junk]
    dirty = [safe[0] + end, *pieces[:6], safe[1] + end, *pieces[6:], safe[2]]
    readings, _ = decode(instrument, dirty, 1.0)
    assert not Counter(heights(readings)) - clean
    assert len(readings) >= len(pieces) - 4


@pytest.mark.parametrize("speak", SPOKEN)
def test_a_gap_joins_nothing(speak: str) -> None:
    instrument, pieces = load(SPOKEN[speak]), said(speak)
    clean = set(heights(decode(instrument, pieces)[0]))
    decoder = make_decoder(instrument)
    got = [r for p in pieces[:5] for r in decoder.feed(Chunk(0.0, p))]
    got += decoder.feed(Chunk(0.5, pieces[5][: len(pieces[5]) // 2]))
    decoder.reset()
    got += decoder.feed(Chunk(9.0, pieces[6][len(pieces[6]) // 2 :]))
    got += [r for p in pieces[7:] for r in decoder.feed(Chunk(9.1, p))]
    assert set(heights(got)) <= clean


@pytest.mark.parametrize("speak", SPOKEN)
def test_endless_garbage_is_bounded(speak: str) -> None:
    decoder = make_decoder(load(SPOKEN[speak]))
    chance = random.Random(1)
    patterns = [b"\x00" * 4096, b"A" * 4096, b"\x01\x03" * 2048, b"\xaa\x55" * 2048, b"$GPGGA," * 585, b"1" * 4096]
    for i in range(60):
        decoder.feed(Chunk(i * 0.01, patterns[i % 6]))
        decoder.feed(Chunk(i * 0.01, chance.randbytes(4096)))
    assert footprint(decoder) < 64 * 1024


def footprint(thing: object, seen: set[int] | None = None) -> int:
    """Bytes held by the buffers an object keeps of its own."""
    seen = seen if seen is not None else set()
    if id(thing) in seen:
        return 0
    seen.add(id(thing))
    held = sys.getsizeof(thing) if isinstance(thing, bytes | bytearray | str | list) else 0
    inner = vars(thing).values() if hasattr(thing, "__dict__") and "drivers" in type(thing).__module__ else ()
    return held + sum(footprint(v, seen) for v in (*inner, *(thing if isinstance(thing, list) else ())))


@pytest.mark.parametrize("speak", ["nmea0183", "modbus", "frames", "pressure-modbus"])
def test_a_wrong_check_is_never_a_height(speak: str) -> None:
    speech, instrument = SPEECHES[speak](), load(SPOKEN[speak])
    pieces = said(speak)
    readings, decoder = decode(instrument, [speech.spoil(p) for p in pieces], 1.0)
    assert readings == []
    assert sum(decoder.rejects.values()) > 0
