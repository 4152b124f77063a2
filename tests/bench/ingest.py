"""What it costs to turn bytes into readings, beside a bare chunked read that only counts lines: paired runs, medians.

Run it with `python tests/bench/ingest.py`; `--long` adds the memory over ten million lines.
"""

import asyncio
import os
import pty
import resource
import statistics
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable

import serial

from drivers.instrument import load
from drivers.reading import Chunk
from drivers.registry import make_decoder, make_transport

LINES = 100_000
PAIRS = 5
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
    """Decode by the shipped instrument; one line may be held back, and counts as heard."""
    decoder, held = make_decoder(load("ascii-lines")), [1]
    return lambda data: len(decoder.feed(Chunk(time.monotonic(), data))) + (held.pop() if held else 0)


def by_readline() -> float:
    """CPU seconds of this thread for the same lines by pyserial's readline() and float."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    port = serial.Serial(os.ttyname(theirs), timeout=5)
    part = TEXT[: len(TEXT) // 20]

    def send() -> None:
        for at in range(0, len(part), 1024):
            os.write(ours, part[at : at + 1024])

    sender = threading.Thread(target=send)
    begun = time.thread_time()
    sender.start()
    for _ in range(LINES // 20):
        float(port.readline().split()[0])
    taken = (time.thread_time() - begun) * 20
    sender.join()
    port.close()
    os.close(ours)
    os.close(theirs)
    return taken


def lag_at(rate: int, seconds: float) -> tuple[float, float]:
    """Median and greatest time, in ms, from the write of a piece to the reading of its last line."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    consume, written, lags = decoding(), list[tuple[int, float]](), list[float]()
    piece, begun = rate // 200, time.monotonic()
    line = len(TEXT) // LINES

    def send() -> None:
        for i in range(int(seconds * 200)):
            time.sleep(max(begun + i / 200 - time.monotonic(), 0))
            written.append(((i + 1) * piece, time.monotonic()))
            os.write(ours, TEXT[: piece * line])

    sender, heard, at = threading.Thread(target=send), 0, 0
    sender.start()
    while heard < int(seconds * 200) * piece:
        heard += consume(os.read(theirs, 65536))
        while at < len(written) and written[at][0] <= heard:
            lags.append((time.monotonic() - written[at][1]) * 1e3)
            at += 1
    sender.join()
    os.close(ours)
    os.close(theirs)
    return statistics.median(lags), max(lags)


SENDER = (
    "import os, sys, time\nfd, line, rate, count = int(sys.argv[1]), sys.argv[2].encode(), *map(float, sys.argv[3:])\n"
)
SENDER += "begun = time.monotonic()\nfor i in range(int(count)):\n"
SENDER += "    time.sleep(max(begun + i / rate - time.monotonic(), 0)); os.write(fd, line)\n"


def at_rate(rate: int, count: int, listen: Callable[[str, int], None]) -> float:
    """CPU seconds of this process to hear lines that another one writes at a steady rate."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    told = [sys.executable, "-c", SENDER, str(ours), "+012.34 in\r\n", str(rate), str(count)]
    with subprocess.Popen(told, pass_fds=[ours]):
        begun = time.process_time()
        listen(os.ttyname(theirs), count)
        taken = time.process_time() - begun
    os.close(ours)
    os.close(theirs)
    return taken


def hear_chunks(port: str, count: int) -> None:
    """Hear lines by pyserial in chunks, as they come, and count them."""
    line, heard = serial.Serial(port, timeout=1), 0
    while heard < count:
        heard += line.read(line.in_waiting or 1).count(b"\n")
    line.close()


def hear_readings(port: str, count: int) -> None:
    """Hear lines by our transport and decoder."""
    asyncio.run(_readings(port, count))


async def _readings(port: str, count: int) -> None:
    instrument = load("ascii-lines")
    transport, decoder, heard = make_transport(port, instrument), make_decoder(instrument), 1
    await transport.open()
    async for chunk in transport.chunks():
        heard += len(decoder.feed(chunk))
        if heard >= count:
            break
    await transport.close()


def memory_over(lines: int) -> tuple[int, int]:
    """Greatest resident size in kB after the first tenth of so many lines, and after all."""
    consume, early = decoding(), 0
    for done in range(0, lines, LINES):
        for at in range(0, len(TEXT), 4096):
            consume(TEXT[at : at + 4096])
        if done <= lines // 10:
            early = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return early, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def main() -> None:
    """Print the cost of a line each way and the medians of the paired ratios."""
    runs = [(over_a_pty(lambda d: d.count(b"\n")), over_a_pty(decoding()), by_readline()) for _ in range(PAIRS)]
    bare, ours, slow = (statistics.median(side) / LINES * 1e6 for side in zip(*runs, strict=True))
    print(f"a line: counting {bare:.3f} us, decoding {ours:.3f} us, readline() {slow:.3f} us ({PAIRS} runs of each)")
    print(f"decoding / counting {statistics.median(b / a for a, b, _ in runs):.1f}")
    print(f"readline() / decoding {statistics.median(c / b for _, b, c in runs):.1f}")
    print("lag at 20,000 lines a second: median {:.2f} ms, greatest {:.2f} ms".format(*lag_at(20_000, 3.0)))
    slow_lines = [(at_rate(200, 1000, hear_chunks), at_rate(200, 1000, hear_readings)) for _ in range(PAIRS)]
    a, b = (statistics.median(side) / 5 * 100 for side in zip(*slow_lines, strict=True))
    ratio = statistics.median(y / x for x, y in slow_lines)
    print(
        f"at 200 lines a second: {a:.2f} % of a core for pyserial's chunks, {b:.2f} % for readings; ratio {ratio:.1f}"
    )
    if "--long" in sys.argv[1:]:
        print("resident after 1 and 10 million lines: {} and {} kB".format(*memory_over(10_000_000)))


if __name__ == "__main__":
    main()
