"""The decoders of every shipped instrument, fed whole, in pieces, with junk, one input after the other."""

import math

from fuzzing.target import Target, Wrong

FED = 50
"""Inputs one decoder takes before the next is made: state carried over is part of the input."""


class Decoders(Target):
    """Every shipped instrument: the first byte chooses it, the second how its stream is cut, the rest is the stream."""

    SPOKEN = ("lines", "polled", "nmea0183", "scpi", "modbus", "frames", "pressure", "pressure-modbus")
    CHANNELS = (
        "2a6c",
        "2a6d",
        "2a6c/2904",
        "2a6c/290c",
        "2a6c/2901",
        "2a6e",
        "2a19",
        "2a29",
        "name",
        "address",
        "",
        "é",
    )

    def __init__(self) -> None:
        from drivers.instrument import load, names
        from drivers.registry import make_decoder

        self.make = make_decoder
        self.instruments = [load(name) for name in names()]
        self.decoders = [make_decoder(one) for one in self.instruments]
        self.fed = 0
        self.now_s = 0.0

    def seeds(self) -> list[bytes]:
        from drivers.instrument import load
        from drivers.reading import Chunk
        from drivers.simulator.ground import Ground
        from drivers.simulator.virtual import VirtualInstrument

        said = []
        for speak in self.SPOKEN:
            virtual = VirtualInstrument(Ground.through(((0.0, 0.3), (5.0, 1.7))), speak, seed=5, rate_hz=10)
            decoder = self.make(load(virtual.instrument))
            stream = b""
            for i in range(8):
                request = decoder.request()
                stream += (piece := virtual.hear(request, i / 10) if request is not None else virtual.due(i / 10))
                decoder.feed(Chunk(i / 10, piece))
            said.append(stream)
        values = [
            b"\x00\x27\x10\x00",
            b"\x01\xe8\x03\x00\x00",
            b"\x02\x04\xfd\x01\x27\x01\x00\x00",
            b"\x05\x10\x0e",
            b"\x06\x55",
        ]
        said += [b"".join(bytes([len(v)]) + v for v in values), b"1.234 m\r\n-0.50 ft\r\n", b"12,3 mm\n"]
        return [bytes([i, cut]) + stream for i in range(len(self.instruments)) for cut, stream in enumerate(said)]

    def take(self, data: bytes) -> None:
        from drivers.reading import Chunk

        which, cut = (data[0] % len(self.instruments), data[1]) if len(data) > 1 else (0, 0)
        self.fed += 1
        if self.fed % FED == 0:
            self.decoders = [self.make(one) for one in self.instruments]
        decoder = self.decoders[which]
        for channel, piece in self._pieces(which, cut, data[2:]):
            decoder.request()
            self.now_s += 0.02 if cut % 3 else 1.5
            for reading in decoder.feed(Chunk(self.now_s, piece, channel)):
                if not math.isfinite(reading.height_m) or not math.isfinite(reading.t_s):
                    raise Wrong(f"a height of {reading.height_m}")
        if cut == 255:
            decoder.reset()
        if len(decoder.remarks) > 16 or sum(map(len, decoder.remarks)) > 65536:
            raise Wrong("remarks without end")

    def _pieces(self, which: int, cut: int, stream: bytes) -> list[tuple[str, bytes]]:
        table = self.instruments[which].decoder
        if table.kind == "gatt":
            own = getattr(table, "notify", "") or getattr(table, "characteristic", "")
            channels = (own, f"{own}/2904", *self.CHANNELS)
            pieces, at = [], 0
            while at < len(stream):
                size = 1 + stream[at] % 21
                chosen = channels[stream[at + 1] % len(channels)] if at + 1 < len(stream) else own
                pieces.append((chosen if stream[at] & 0x80 else own, stream[at + 1 : at + 1 + size]))
                at += 1 + size
            return pieces
        if not cut % 8:
            return [("", stream)]
        pieces, at, k = [], 0, 0
        while at < len(stream):
            k += 1
            size = 1 + (cut * k * 7) % 31
            pieces.append(("", stream[at : at + size]))
            at += size
        return pieces
