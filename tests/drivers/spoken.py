"""What instruments say to each registered decoder: every protocol of the simulator, alone and carried over GATT."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

from drivers.decoders import Decoder
from drivers.instrument import InstrumentFile, from_tables, load, tables
from drivers.reading import Chunk, Reading
from drivers.registry import make_decoder
from drivers.simulator.ground import Ground
from drivers.simulator.speech import SPEECHES
from drivers.simulator.virtual import VirtualInstrument

OUT, INTO = "6e400003-b5a3-f393-e0a9-e50e24dcca9e", "6e400002-b5a3-f393-e0a9-e50e24dcca9e"
ELEVATION = "2a6c"
TOLD = (
    ("name", b"LEVEL"),
    (f"{ELEVATION}/2904", bytes.fromhex("0FFE0127010000")),
    (f"{ELEVATION}/290c", bytes.fromhex("0000010000000000000201")),
    ("2a29", b"Bench"),
    ("2a6e", bytes.fromhex("5908")),
)
"""What a link tells besides values, before the first one."""


@dataclass(frozen=True)
class Spoken:
    """One instrument as a decoder hears it.

    `channel` is where its values come, `end` what ends anything said, so that junk before it spoils nothing else;
    `cut` whether a transport may cut what it says anywhere: the value of a characteristic comes whole or not at all.
    """

    instrument: InstrumentFile
    say: Callable[[int], list[bytes]]
    channel: str = ""
    end: bytes = b""
    cut: bool = True
    told: tuple[tuple[str, bytes], ...] = ()

    @property
    def decoder(self) -> Decoder:
        """A new decoder that was told what a link tells first."""
        decoder = make_decoder(self.instrument)
        for channel, data in self.told:
            assert not decoder.feed(Chunk(0.0, data, channel))
        return decoder

    def chunk(self, t_s: float, data: bytes) -> Chunk:
        """Bytes as its transport hands them on."""
        return Chunk(t_s, data, self.channel)

    def decode(self, pieces: Sequence[bytes], gap_s: float = 0.1) -> tuple[list[Reading], Decoder]:
        """All readings of these pieces by a new decoder, and that decoder."""
        decoder = self.decoder
        readings = [r for i, piece in enumerate(pieces) for r in decoder.feed(self.chunk(i * gap_s, piece))]
        return readings, decoder


@cache
def said(speak: str, count: int) -> tuple[bytes, ...]:
    """What a virtual instrument says or answers, one piece a reading, on a clock of its own."""
    virtual = VirtualInstrument(Ground.through(((0.0, 0.3), (5.0, 1.7))), speak, seed=5, rate_hz=10)
    decoder = make_decoder(load(SPEECHES[speak]().instrument))
    pieces = []
    for i in range(count):
        now = 100.0 + i / 10
        virtual.hose.at(0.1 * i, now)
        request = decoder.request()
        answer = virtual.hear(request, now) if request is not None else virtual.due(now)
        pieces.append(answer)
        decoder.feed(Chunk(now, answer))
    return tuple(pieces)


def alone(speak: str) -> Spoken:
    """A protocol of the simulator on a serial line."""
    speech = SPEECHES[speak]()
    return Spoken(load(speech.instrument), lambda count: list(said(speak, count)), end=speech.end)


def carried(speak: str) -> Spoken:
    """The same bytes through two characteristics of a radio."""
    document = tables(load(SPEECHES[speak]().instrument))
    document["decoder"] = {"kind": "gatt", "notify": OUT, "write": INTO, "inner": document["decoder"]}
    return replace(alone(speak), instrument=from_tables(document, speak), channel=OUT, told=TOLD[:1] + TOLD[3:])


def elevation(count: int) -> list[bytes]:
    """The heights that `lines` says, in the steps of 0.01 m of the Elevation characteristic."""
    readings, _ = alone("lines").decode(said("lines", count + 1))
    return [round(r.height_m * 100).to_bytes(3, "little", signed=True) for r in readings][:count]


VALUES = Spoken(load("ble-elevation"), elevation, ELEVATION, cut=False, told=TOLD)
SPOKEN = {
    **{name: alone(name) for name in SPEECHES},
    **{f"{name} over gatt": carried(name) for name in SPEECHES},
    "values of gatt": VALUES,
}
