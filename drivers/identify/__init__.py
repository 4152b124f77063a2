"""Identify: what sends on an unknown port. Bytes in, a proposed instrument file out, with a confidence and reasons."""

from collections.abc import Sequence
from dataclasses import dataclass

from drivers.identify.binary import recognise_frames
from drivers.identify.proposal import UNSURE, Candidate, best_first
from drivers.identify.registers import recognise_registers
from drivers.identify.sentences import recognise_sentences
from drivers.identify.text import printable_share, recognise_text

LOOKED_AT = 65536
"""Bytes at most; a stream tells what it is in far fewer."""
SEVEN_BITS = 0.98
CONTROL = b"\r\n\t\x02\x03\x00"


@dataclass(frozen=True, slots=True)
class Recognised:
    """Candidates for a stream, best first; `parity` is set where the highest bit turned out to be one."""

    candidates: tuple[Candidate, ...] = ()
    parity: str = ""

    @property
    def confidence(self) -> float:
        """That of the best candidate."""
        return self.candidates[0].confidence if self.candidates else 0.0


def recognise(data: bytes, *, polled: bool = False) -> Recognised:
    """What a stream may be. Nothing is ever taken for sure that could be two things."""
    data = data[-LOOKED_AT:]
    parity = parity_of(data)
    plain = bytes(b & 0x7F for b in data) if parity else data
    sentences = recognise_sentences(plain)
    if sentences and (sentences[0].confidence >= UNSURE or sentences[0].tables):
        return Recognised(tuple(best_first(sentences)), parity)
    binary = recognise_registers(data, polled=polled) or recognise_frames(data)
    if binary and printable_share(plain) < 0.9:
        return Recognised(tuple(best_first(binary)))
    return Recognised(tuple(best_first([*sentences, *recognise_text(plain), *binary])), parity)


def parity_of(data: bytes) -> str:
    """`even`, `odd` or `mark` where seven-bit text came with a parity bit; empty where it did not."""
    if not data or sum(b >= 0x80 for b in data) < 0.05 * len(data):
        return ""
    text = sum(32 <= b & 0x7F < 127 or b & 0x7F in CONTROL for b in data)
    if text < SEVEN_BITS * len(data):
        return ""
    ones: Sequence[int] = [b.bit_count() & 1 for b in data]
    for name, share in (("even", ones.count(0)), ("odd", ones.count(1)), ("mark", sum(b >= 0x80 for b in data))):
        if share >= SEVEN_BITS * len(data):
            return name
    return ""
