"""What it costs to turn bytes into readings, beside a bare chunked read that only counts lines: paired runs, medians.

Run it with `python tests/bench/ingest.py`.
"""

import os
import pty
import statistics
import threading
import time
import tty
from collections.abc import Callable

from drivers.instrument import from_tables
from drivers.reading import Chunk
from drivers.registry import make_decoder

LINES = 100_000
PAIRS = 5
PATTERN = r"^(?P<height>[+-]?\d+\.\d+)\s*(?P<unit>in|ft|mm|cm|m)?"
TEXT = b"".join(b"%+08.2f in\r\n" % (i % 4000 / 100) for i in range(LINES))


def over_a_pty(consume: Callable[[bytes], int]) -> float:
    """CPU seconds of this thread to read all lines from a pseudo-terminal and consume them."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)

    def send() -> None:
        at = 0
        while at < len(TEXT):
            at += os.write(ours, TEXT[at : at + 4096])

    sender = threading.Thread(target=send)
    begun, heard = time.thread_time(), 0
    sender.start()
    while heard < LINES:
        heard += consume(os.read(theirs, 65536))
    taken = time.thread_time() - begun
    sender.join()
    os.close(ours)
    os.close(theirs)
    return taken


def decoding() -> Callable[[bytes], int]:
    """Decode by the lines decoder; one line may be held back."""
    tables = {"instrument": {"name": "bench"}, "ask": {"send": "R"}, "decoder": {"kind": "lines", "pattern": PATTERN}}
    decoder = make_decoder(from_tables(tables, "bench"))
    return lambda data: len(decoder.feed(Chunk(time.monotonic(), data)))


def main() -> None:
    """Print the cost of a line both ways and the median of the paired ratios."""
    pairs = [(over_a_pty(lambda data: data.count(b"\n")), over_a_pty(decoding())) for _ in range(PAIRS)]
    bare, ours = (statistics.median(side) / LINES * 1e6 for side in zip(*pairs, strict=True))
    ratio = statistics.median(b / a for a, b in pairs)
    print(f"counting lines {bare:.3f} us, decoding {ours:.3f} us a line, ratio {ratio:.1f} ({PAIRS} pairs of {LINES})")


if __name__ == "__main__":
    main()
