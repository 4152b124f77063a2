"""Streams of NMEA 0183: which sentences carry a height."""

from collections import Counter
from typing import Any

from drivers.decoders.nmea0183 import HEIGHT_TYPES, XDR_UNITS, checksum_holds, sentences_of
from drivers.decoders.numbers import number
from drivers.framing import LineFramer
from drivers.identify.judgement import AIR, AIR_PA
from drivers.identify.proposal import Candidate

FEWEST = 3
LIKELIEST = ("XDR", "DPT", "DBT", "GGA")
MEANING = {"XDR": "a displacement or pressure", "DPT": "a depth", "DBT": "a depth", "GGA": "a satellite altitude"}


def recognise_sentences(data: bytes) -> list[Candidate]:
    """What NMEA sentences in a stream may be, best first; empty if there are none."""
    good = bad = bare = 0
    heights: Counter[tuple[str, str]] = Counter()
    aired: set[tuple[str, str]] = set()
    for body, told in (found for line in LineFramer().feed(data) for found in sentences_of(line)):
        if not body.isascii() or b"," not in body:
            continue
        if told is None:
            bare += 1
        elif checksum_holds(body, told):
            good += 1
        else:
            bad += 1
            continue
        fields = body.decode("ascii").split(",")
        heights.update(_heights(fields))
        aired.update(_in_air(fields))
    if good + bare == 0 or good + bare < bad:
        return []
    return _candidates(heights, aired, (good, bad, bare))


def _heights(fields: list[str]) -> list[tuple[str, str]]:
    kind = fields[0][2:]
    if kind == "XDR":
        quads = zip(*(fields[i::4] for i in range(1, 5)), strict=False)
        return [("XDR", name or type_) for type_, value, unit, name in quads if value and _is_height(type_, unit)]
    at = {"GGA": 9, "DPT": 1, "DBT": 3}.get(kind)
    if at is None or len(fields) <= at or not fields[at]:
        return []
    return [] if kind == "GGA" and fields[6] in ("", "0") else [(kind, "")]


def _in_air(fields: list[str]) -> list[tuple[str, str]]:
    """Transducers of XDR that tell the pressure of the air itself."""
    quads = zip(*(fields[i::4] for i in range(1, 5)), strict=False) if fields[0][2:] == "XDR" else ()
    size = {"P": 1.0, "B": 1e5}
    return [
        ("XDR", name or kind)
        for kind, value, unit, name in quads
        if kind == "P" and unit in size and AIR_PA[0] < number(value) * size[unit] < AIR_PA[1]
    ]


def _is_height(kind: str, unit: str) -> bool:
    return kind in HEIGHT_TYPES and unit in XDR_UNITS


def _candidates(
    heights: Counter[tuple[str, str]], aired: set[tuple[str, str]], counts: tuple[int, int, int]
) -> list[Candidate]:
    good, bad, bare = counts
    heard = f"{good} NMEA 0183 sentences with a right checksum" + (f", {bad} with a wrong one" if bad else "")
    if not heights:
        return [Candidate(0.2, (heard, "none of them carries a height"))]
    ordered = sorted(heights, key=lambda h: (LIKELIEST.index(h[0]), -heights[h]))
    transducers = [h for h in ordered if h[0] == "XDR"]
    found = []
    for place, (sentence, transducer) in enumerate(ordered):
        confidence = 0.95 if heights[sentence, transducer] >= FEWEST else 0.4
        reasons = [heard, f"{sentence} carries {MEANING[sentence]}" + (f" ({transducer})" if transducer else "")]
        if len(transducers) > 1 and sentence == "XDR":
            confidence = min(confidence, 0.45)
            reasons.append("several transducers could be the height")
        elif len(ordered) > 1:
            others = ", ".join(dict.fromkeys(s for s, _ in ordered if s != sentence))
            confidence = min(confidence, 0.8 if place == 0 else 0.3)
            reasons.append(f"{others} could be the height too")
        if (sentence, transducer) in aired:
            confidence = min(confidence, 0.3)
            reasons.append(AIR)
        if sentence == "GGA":
            reasons.append("a satellite altitude is far too coarse to set out steps")
        decoder: dict[str, Any] = {"kind": "nmea0183", "sentence": sentence}
        if transducer:
            decoder["transducer"] = transducer
        if bare > good:
            decoder["checksum"] = "optional"
            confidence = min(confidence, 0.7)
            reasons.append("sentences come without a checksum")
        tables = {
            "instrument": {"name": f"Heard on the port, NMEA 0183 {sentence}"},
            "decoder": decoder,
            "height": {"unit": "m"},
        }
        found.append(Candidate(confidence, tuple(reasons), tables))
    return found
