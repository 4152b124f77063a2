"""What keeping a reading costs: a durable tag beside a bare write and fsync, and ingest with recording on.

Run it with `python tests/bench/commit.py`; pairs are taken A B A B, medians and the median of the ratios are printed.
"""

import asyncio
import os
import statistics
import tempfile
import time
from pathlib import Path

from soak import Level, recorded

from logger.session.events import Draft, EventKind, raw_draft, sealed
from logger.session.packing import RawChunk
from logger.session.store import Session

PAIRS = 400
BODY = {"n": 1, "kind": "station", "height_m": 0.8123, "u_m": 0.0004, "readings": 12, "note": "x" * 500}


def drafts(t_us: int) -> list[Draft]:
    """A tag and the half second of raw bytes before it, at 10 Hz."""
    raw = [RawChunk(t_us + i * 100_000, b"+0.8123 m\r\n") for i in range(5)]
    return [raw_draft(t_us, raw), Draft(t_us, t_us + 500_000, EventKind.OBSERVED, BODY)]


def main() -> None:
    """Print both comparisons."""
    with tempfile.TemporaryDirectory(prefix="risewalk-bench-", dir=os.environ.get("BENCH_DIR")) as place:
        session = Session.create(Path(place) / "cost.walk")
        bare = os.open(Path(place) / "bare", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
        pairs = []
        for i in range(PAIRS):
            told = drafts(i * 1_000_000)
            size = sum(len(e.text) + len(e.raw) + 64 for e in (sealed(d, 1, b"") for d in told))
            start = time.perf_counter()
            os.write(bare, bytes(size))
            os.fsync(bare)
            between = time.perf_counter()
            session.append(told)
            pairs.append((between - start, time.perf_counter() - between))
        os.close(bare)
        session.close()
        write, tag = (statistics.median(side) * 1e3 for side in zip(*pairs, strict=True))
        ratio = statistics.median(b / a for a, b in pairs)
        print(f"write and fsync {write:.3f} ms, durable tag with its raw bytes {tag:.3f} ms, ratio {ratio:.2f}")
        told = asyncio.run(recorded(Path(place) / "ingest.walk", 200, 0.25))
        print(
            f"ingest with recording on: {told['readings_per_s_of_work']} readings a second ({Level.__name__} at 200 Hz)"
        )


if __name__ == "__main__":
    main()
