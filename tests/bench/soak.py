"""Days of recording in simulated time: memory, bytes on disk for each reading, how long the file takes to open.

    python tests/bench/soak.py                     48 h at 10 Hz and 8 h at 200 Hz
    python tests/bench/soak.py --hours 1           the same rates for an hour each

The recorder's own parts are at work (chunks through decoder and settling, batches through the writer's thread, a tag
every five minutes, a tick every half second); only the clock is the script's.
"""

import argparse
import asyncio
import gc
import json
import os
import resource
import tempfile
import time
from collections.abc import AsyncIterator
from pathlib import Path

from drivers.instrument import parse
from drivers.reading import Chunk, LinkChanged
from logger.recorder.clock import SessionClock
from logger.recorder.recorder import Recorder
from logger.recorder.settings import Settings
from logger.session.replay import survey

LINES = """
[instrument]
name = "Hose level, lines"
[decoder]
kind = "lines"
pattern = '(?P<height>[+-]?\\d+\\.\\d+)'
[height]
unit = "m"
[settle]
window = "1.5 s"
spread = "2 mm"
"""
TAG_EVERY_S = 300


class Level:
    """An instrument that speaks on a clock of its own."""

    def __init__(self, hz: int) -> None:
        self.hz = hz
        self.t_s = 0.0
        self.chunks: asyncio.Queue[Chunk] = asyncio.Queue()

    async def events(self) -> AsyncIterator[Chunk | LinkChanged]:
        while True:
            yield await self.chunks.get()
            self.chunks.task_done()

    async def close(self) -> None:
        pass

    def speak(self, count: int) -> None:
        for i in range(count):
            self.t_s += 1.0 / self.hz
            wobble = (int(self.t_s * self.hz) * 7919 + i) % 9
            self.chunks.put_nowait(Chunk(self.t_s, f"{1 + wobble / 10000:.4f} m\r\n".encode()))


async def recorded(path: Path, hz: int, hours: float) -> dict[str, object]:
    """Record for so many simulated hours."""
    level = Level(hz)
    clock = SessionClock(lambda: level.t_s, lambda: 1_777_000_000_000_000 + round(level.t_s * 1e6))
    recorder = Recorder(path, Settings("the script", parse(LINES, "the soak")), lambda s, c: level, clock)
    level.speak(1)
    await recorder.start()
    memory = []
    tags = 0
    half_seconds = round(hours * 7200)
    start = time.monotonic()
    for tick in range(half_seconds):
        if tick % (2 * TAG_EVERY_S) == 0:
            tag = asyncio.create_task(recorder.ask("benchmark BM" if not tags else f"station {tags}"))
            await asyncio.sleep(0)
        level.speak(hz // 2)
        await level.chunks.join()
        if tick % 2:
            recorder.acquisition.flush()
        if tick % (2 * TAG_EVERY_S) == 8:
            tags += (await tag)["ok"]
        if tick % max(half_seconds // 20, 1) == 0:
            gc.collect()
            memory.append(resident_kb())
    took = time.monotonic() - start
    await recorder.close()
    readings = recorder.acquisition.pipeline.readings
    opening = time.monotonic()
    observations = len(survey(path).observations)
    opened_s = time.monotonic() - opening
    size = os.stat(path).st_size
    return {
        "hz": hz,
        "hours": hours,
        "readings": readings,
        "tags": tags,
        "observations": observations,
        "megabytes": round(size / 1e6, 1),
        "bytes_per_reading": round(size / readings, 1),
        "open_and_survey_s": round(opened_s, 3),
        "memory_mb_after_a_tenth": round(memory[min(2, len(memory) - 1)] / 1024, 1),
        "memory_mb_at_the_end": round(memory[-1] / 1024, 1),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
        "readings_per_s_of_work": round(readings / took),
    }


def resident_kb() -> int:
    """Resident memory of this process now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() // 1024


def main() -> None:
    """Record both days and print what came of them."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--hours", type=float)
    asked = options.parse_args()
    for hz, hours in ((10, 48.0), (200, 8.0)):
        with tempfile.TemporaryDirectory(prefix="risewalk-bench-") as folder:
            told = asyncio.run(recorded(Path(folder) / "long.walk", hz, asked.hours or hours))
            print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main()
