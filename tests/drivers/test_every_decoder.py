"""What holds for every registered decoder: the same readings however bytes are cut, junk survived, memory bounded."""

import random
import sys
from collections import Counter, deque
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from spoken import SPOKEN, TOLD, Spoken, alone, carried

from drivers.reading import Chunk, Reading, Reject
from drivers.registry import list_decoders, make_decoder
from drivers.simulator.speech import SPEECHES

COUNT = 25
OURS = ("", "risewalk")
STREAMS = {name: spoken for name, spoken in SPOKEN.items() if spoken.cut}
MOST_BYTES = 64 * 1024

every = pytest.mark.parametrize("spoken", SPOKEN.values(), ids=SPOKEN)
every_stream = pytest.mark.parametrize("spoken", STREAMS.values(), ids=STREAMS)


def heights(readings: Sequence[Reading]) -> list[float]:
    return [r.height_m for r in readings]


def test_every_registered_decoder_is_here() -> None:
    """A decoder of another package has that package's tests."""
    registered = {d.name for d in list_decoders() if d.package in OURS}
    assert {spoken.instrument.decoder.kind for spoken in SPOKEN.values()} == registered


@every
def test_whole_it_reads_the_ground(spoken: Spoken) -> None:
    readings, decoder = spoken.decode(spoken.say(COUNT))
    assert len(readings) >= COUNT - 2
    assert readings[-1].height_m == pytest.approx(0.3 + 0.28 * 0.1 * (COUNT - 1), abs=0.35)
    assert set(decoder.rejects) <= {Reject.NOT_MINE, Reject.LENGTH}


@every_stream
def test_byte_by_byte_is_the_same(spoken: Spoken) -> None:
    data = b"".join(spoken.say(COUNT))
    whole, _ = spoken.decode([data])
    single, _ = spoken.decode([data[i : i + 1] for i in range(len(data))], gap_s=0.001)
    assert heights(single) == heights(whole)


@every_stream
@settings(deadline=None, max_examples=20)
@given(st.data())
def test_cut_anywhere_is_the_same(spoken: Spoken, data: st.DataObject) -> None:
    stream = b"".join(spoken.say(12))
    cuts = sorted(data.draw(st.sets(st.integers(1, len(stream) - 1), max_size=12)))
    pieces = [stream[a:b] for a, b in pairwise([0, *cuts, len(stream)])]
    assert heights(spoken.decode(pieces, 0.001)[0]) == heights(spoken.decode([stream])[0])


@pytest.mark.parametrize("spoken", [s for s in SPOKEN.values() if not s.cut])
def test_a_part_of_a_value_that_comes_whole_is_no_height(spoken: Spoken) -> None:
    pieces = spoken.say(COUNT)
    parts = [part for p in pieces for cut in range(1, len(p)) for part in (p[:cut], p[cut:])]
    readings, decoder = spoken.decode([*parts, *(p + p for p in pieces), b""])
    assert readings == []
    assert decoder.rejects == {Reject.LENGTH: len(parts) + len(pieces) + 1}


@every
@settings(deadline=None, max_examples=20)
@given(junk=st.lists(st.binary(max_size=40), min_size=3, max_size=3))
def test_junk_before_between_and_after_invents_nothing(spoken: Spoken, junk: list[bytes]) -> None:
    pieces = spoken.say(12)
    clean = Counter(heights(spoken.decode(pieces)[0]))
    if spoken.cut:
        safe = [bytes(b for b in j if b >= 0x80 or not spoken.end) + spoken.end for j in junk]
    else:
        safe = [j + b"\0" if len(j) == len(pieces[0]) else j for j in junk]
    readings, _ = spoken.decode([safe[0], *pieces[:6], safe[1], *pieces[6:], safe[2]], 1.0)
    assert not Counter(heights(readings)) - clean
    assert len(readings) >= len(pieces) - 4


@every
def test_a_gap_joins_nothing(spoken: Spoken) -> None:
    pieces, decoder = spoken.say(COUNT), spoken.decoder
    clean = set(heights(spoken.decode(pieces)[0]))
    half = len(pieces[5]) // 2
    got = [r for p in pieces[:5] for r in decoder.feed(spoken.chunk(0.0, p))]
    got += decoder.feed(spoken.chunk(0.5, pieces[5][:half]))
    decoder.reset()
    got += decoder.feed(spoken.chunk(9.0, pieces[6][half:]))
    got += [r for p in pieces[7:] for r in decoder.feed(spoken.chunk(9.1, p))]
    assert set(heights(got)) <= clean


@every
def test_what_is_asked_in_between_changes_nothing(spoken: Spoken) -> None:
    pieces, decoder = spoken.say(COUNT), spoken.decoder
    got = []
    for i, piece in enumerate(pieces):
        decoder.request()
        got += decoder.feed(spoken.chunk(i * 0.1, piece))
        decoder.request()
    assert got == spoken.decode(pieces)[0]


@every
def test_endless_garbage_is_bounded(spoken: Spoken) -> None:
    decoder, chance = spoken.decoder, random.Random(1)
    patterns = [b"\x00" * 4096, b"A" * 4096, b"\x01\x03" * 2048, b"\xaa\x55" * 2048, b"$GPGGA," * 585, b"1" * 4096]
    for i in range(60):
        decoder.request()
        decoder.feed(spoken.chunk(i * 0.01, patterns[i % 6]))
        decoder.feed(spoken.chunk(i * 0.01, chance.randbytes(4096)))
    assert footprint(decoder) < MOST_BYTES
    assert sum(decoder.rejects.values()) > 0
    assert len(decoder.remarks) <= 8


@pytest.mark.parametrize("spoken", [s for s in SPOKEN.values() if s.channel], ids=[n for n in SPOKEN if "gatt" in n])
def test_endless_garbage_on_every_channel_is_bounded(spoken: Spoken) -> None:
    """Whatever a device calls itself and describes, over and over, in values as long as one can be (512 octets)."""
    decoder, chance = spoken.decoder, random.Random(2)
    channels = [*(name for name, _ in TOLD), spoken.channel, f"{spoken.channel}/2901", "2a19", "2a7d", "", "2a6c/"]
    for i in range(3000):
        size = chance.choice((0, 1, 2, 3, 7, 11, 20, 512))
        channel = channels[i % len(channels)] if i % 3 else f"{chance.getrandbits(16):04x}/{i:04x}"
        for reading in decoder.feed(Chunk(i * 0.01, chance.randbytes(size), channel)):
            assert abs(reading.height_m) <= 20_000
    assert footprint(decoder) < MOST_BYTES
    assert sum(decoder.rejects.values()) > 0
    assert len(decoder.remarks) <= 8


def footprint(thing: object, seen: set[int] | None = None) -> int:
    """Bytes of text and octets that an object of ours keeps, in whatever it keeps them."""
    seen = seen if seen is not None else set()
    if id(thing) in seen:
        return 0
    seen.add(id(thing))
    held = sys.getsizeof(thing) if isinstance(thing, bytes | bytearray | str | list | dict | set | deque) else 0
    inner: list[object] = list(thing) if isinstance(thing, list | tuple | set | deque) else []
    if isinstance(thing, Mapping):
        inner += [*thing.keys(), *thing.values()]
    if hasattr(thing, "__dict__") and "drivers" in type(thing).__module__:
        inner += vars(thing).values()
    return held + sum(footprint(each, seen) for each in inner)


def test_the_footprint_of_what_grows_is_seen() -> None:
    decoder = make_decoder(alone("lines").instrument)
    decoder.facts["name"] = "x" * MOST_BYTES  # type: ignore[attr-defined]
    assert footprint(decoder) > MOST_BYTES


@pytest.mark.parametrize("speak", ["nmea0183", "modbus", "frames", "pressure-modbus"])
@pytest.mark.parametrize("way", [alone, carried])
def test_a_wrong_check_is_never_a_height(speak: str, way: object) -> None:
    speech, spoken = SPEECHES[speak](), carried(speak) if way is carried else alone(speak)
    readings, decoder = spoken.decode([speech.spoil(p) for p in spoken.say(COUNT)], 1.0)
    assert readings == []
    assert sum(decoder.rejects.values()) > 0
