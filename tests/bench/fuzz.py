"""Damaged, mutated and plain senseless input for everything that reads what others wrote: nothing may crash or hang.

    python tests/bench/fuzz.py                              every target, a million inputs over the decoders
    python tests/bench/fuzz.py decoders --inputs 100000     one target, so many inputs
    python tests/bench/fuzz.py --plain                      plain mutation also where atheris is installed

Each target runs in a process of its own: guided by coverage where `atheris` is installed (it is no dependency), by
mutation of valid input and by noise elsewhere. An input is a crash where anything but our own errors comes out, where
an error says nothing, or where a result is not finite; a hang where it takes longer than LIMIT_S. Resident memory is
sampled twenty times. Crashes are told once for each place in the code; their inputs are kept in --keep.
"""

import argparse
import contextlib
import faulthandler
import json
import math
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import FrameType

ROOT = Path(__file__).parents[2]
INPUTS = {"decoders": 1_000_000, "session": 10_000, "jsonl": 4_000}
FEWER = 40_000
"""Inputs of a target that INPUTS does not name."""
LIMIT_S = 2.0
STUCK_S = 60
"""When the whole process is ended with its stack told: a hang inside C, where no signal gets through."""
GROWTH_MB = 24.0
"""Resident memory may grow by no more between a fifth of the way and the end."""
SAMPLES = 20
LARGEST = 4096
FED = 50
"""Inputs one decoder takes before the next is made: state carried over is part of the input."""
WORDS = r"""
\x00 \xff\xfe \r\n " ' \"\"\" , ; = [ ] [[ { } nan inf -inf 1e308 1e-320 -0 0 1/0 0x7fffffff true 3% 1:0 + - 1979-05-27
00:00:60 *00\r\n $ \xaa\x55 \x01\x03 (a+)+$ (?P<height> \\d{9999} \\u0000 \xf0\x9f\xa7\xb1 \x1b[2J a.b.c null {} -1 1e99
99999999999999999999 Infinity 1e400 [[1,2,3]] 10\x20km 1\x201/0\x20in 12\x20ft\x206\x20in
"""
TOKENS = [
    *(word.encode().decode("unicode_escape").encode("latin-1") for word in WORDS.split()),
    *(b"", b"[" * 900, b"9" * 400, b"1" * 5000, b"\n"),
]


class Hung(BaseException):
    """An input took longer than it may."""


class Wrong(Exception):
    """A result that may not be."""


class Target:
    """One reader under test: valid inputs to start from, and `take`, which lets only a fault out."""

    def seeds(self) -> list[bytes]:
        """Valid inputs."""
        raise NotImplementedError

    def take(self, data: bytes) -> None:
        """Read one input."""
        raise NotImplementedError


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


class OfFile(Target):
    """What is read from a file; `folder` is where the damaged one lies."""

    def __init__(self) -> None:
        shm = Path("/dev/shm")
        self.folder = Path(tempfile.mkdtemp(prefix="risewalk-fuzz-", dir=shm if shm.is_dir() else None))

    def written(self, name: str, data: bytes) -> Path:
        """The file that holds these bytes, anew."""
        path = self.folder / name
        path.write_bytes(data)
        return path


class DamagedSession(OfFile):
    """The golden session with bytes changed; an input is a list of places (3 bytes) and what is done there (1 byte)."""

    def __init__(self) -> None:
        super().__init__()
        self.whole = (ROOT / "fixtures/sessions/v1.walk").read_bytes()

    def seeds(self) -> list[bytes]:
        chance = random.Random(3)
        return [
            chance.randrange(len(self.whole)).to_bytes(3, "big") + bytes([chance.randrange(256)]) for _ in range(300)
        ]

    def take(self, data: bytes) -> None:
        damaged = bytearray(self.whole)
        for at in range(0, len(data) - 3, 4):
            place, what = int.from_bytes(data[at : at + 3], "big") % (len(damaged) or 1), data[at + 3]
            if what == 0:
                del damaged[place:]
            elif what == 255:
                damaged[place : place + 64] = bytes(64)
            elif damaged:
                damaged[place] ^= what
        path = self.written("damaged.walk", bytes(damaged))
        read_session(path)
        for beside in self.folder.glob("damaged.walk?*"):
            beside.unlink()


class JsonLines(OfFile):
    """A session as JSON Lines: changed anywhere; for every other input the digests are made anew, so that all is read."""

    VALUES = (
        None,
        True,
        0,
        -1,
        7,
        10**30,
        1.5,
        -1e308,
        1e-320,
        math.inf,
        math.nan,
        "",
        "x",
        "1",
        [],
        [1],
        {},
        {"text": 1},
    )

    def __init__(self) -> None:
        super().__init__()
        self.lines = (ROOT / "fixtures/sessions/v1.jsonl").read_text(encoding="utf-8").splitlines()

    def seeds(self) -> list[bytes]:
        whole = [json.loads(line) for line in self.lines[1:]]
        fields = [(e["n"], key, value) for e in whole if e["kind"] != "raw" for key, value in e["body"].items()]
        edits = [json.dumps([n, key, v]).encode() for n, key, own in fields for v in (own, *self.VALUES)]
        random.Random(11).shuffle(edits)
        return [edit for edit in edits if len(edit) < LARGEST]

    def take(self, data: bytes) -> None:
        from logger.session.jsonl import import_jsonl

        out = self.folder / "made.walk"
        with contextlib.suppress(*ours()):
            import_jsonl(self.written("in.jsonl", self._edited(data)), out)
            read_session(out)
        for made in self.folder.glob("made.walk*"):
            made.unlink()

    def _edited(self, data: bytes) -> bytes:
        """The session with one field of one body changed and sealed anew, or else with the input as a line of it."""
        try:
            n, key, value = json.loads(data)
            told = [json.loads(line) for line in self.lines]
            told[n]["body"][key] = value
            return self._sealed(told)
        except (ValueError, TypeError, LookupError, RecursionError, OverflowError):
            at = (len(data) * 7) % len(self.lines)
            lines = [line.encode() for line in self.lines]
            return b"\n".join([*lines[:at], data, *lines[at + 1 :]])

    @staticmethod
    def _sealed(told: list[dict[str, object]]) -> bytes:
        from logger.session.events import GENESIS, sealed
        from logger.session.jsonl import draft_of

        before, lines = GENESIS, [json.dumps(told[0])]
        for n, line in enumerate(told[1:], 1):
            before = sealed(draft_of(line), n, before).digest
            lines.append(json.dumps(line | {"n": n, "digest": before.hex()}))
        return "\n".join(lines).encode()


class InstrumentToml(Target):
    """Instrument files; what is accepted is written and read again, and its decoder is fed."""

    SAID = (
        b"$GPGGA,1,2,3*00\r\n+1.2345 m 20.1 C\r\n\xaa\x55\x04\x01\x02\x03\x04\x01\x03\x04\x3f\x80\x00\x00\xf7\xcf"
        + b"a" * 200
    )

    def seeds(self) -> list[bytes]:
        shipped = [p.read_bytes() for p in sorted((ROOT / "drivers/instruments").glob("*.toml"))]
        return [*shipped, (ROOT / "tui/demo/instrument.toml").read_bytes()]

    def take(self, data: bytes) -> None:
        from drivers.instrument import dump, parse
        from drivers.reading import Chunk
        from drivers.registry import make_decoder

        found = parse(data.decode("utf-8", "replace"), "the input")
        if parse(dump(found), "the input written again") != found:
            raise Wrong("written and read again, it is another")
        if not all(map(math.isfinite, (*found.accuracy, found.drift_m_per_h, found.resolution_m))):
            raise Wrong("an accuracy that is not finite")
        assert found.settle_rule
        decoder = make_decoder(found)
        decoder.request()
        for t_s in (0.0, 0.5, 1.0):
            for reading in decoder.feed(Chunk(t_s, self.SAID)):
                if not math.isfinite(reading.height_m):
                    raise Wrong(f"a height of {reading.height_m}")


class BriefToml(OfFile):
    """Briefs, as the steps read them and as the walk's screen does."""

    def seeds(self) -> list[bytes]:
        tables = b'[[landing_at]]\nstation = "2 m"\ndepth = "1 m"\n[[no_landing]]\nfrom = "3 m"\nto = "4 m"\n[cheek]\n'
        more = b'[steps]\ntread = "16 in"\nlanding = "36 in"\nrun = "21 ft"\nrise = "6 ft 8 in"\nfall = "1 %"\n'
        more += b'[unit]\nheight = "6 in"\ndepth = "18 in"\n[rules]\nsets = ["irc-2024"]\n'
        return [(ROOT / "tui/demo/brief.toml").read_bytes(), more, more + tables]

    def take(self, data: bytes) -> None:
        from drivers.lengths import Units
        from logger.steps.brief import read_brief
        from tui.walking.wanted import wanted_for

        path = self.written("brief.toml", data)
        with contextlib.suppress(*ours()):
            wanted_for(self.folder / "none.walk", path, Units.METRES)
        read_brief(path, {"tread": "0.35 m"} if len(data) % 2 else None)


class RuleToml(Target):
    """Rule sets."""

    def seeds(self) -> list[bytes]:
        return [p.read_bytes()[:3000] for p in sorted((ROOT / "logger/steps/rules").glob("*.toml"))]

    def take(self, data: bytes) -> None:
        from logger.steps.rulebook import parse

        parse(data.decode("utf-8", "replace"), "the input", "own")


class CatalogueFile(OfFile):
    """Catalogues, TOML and CSV."""

    def seeds(self) -> list[bytes]:
        table = b"use,name,price,per,pack,waste\nunit,Slab,12.50,each,10,5%\nbase,Gravel,30,m3,,\n"
        return [(ROOT / "tui/demo/catalogue.toml").read_bytes(), table]

    def take(self, data: bytes) -> None:
        from logger.catalogue import read_catalogue

        found = read_catalogue(self.written("c.csv" if data.startswith(b"use") else "c.toml", data))
        assert found.alternatives is not None


class ProfileCsv(OfFile):
    """Profiles; what is accepted is written and read again."""

    def seeds(self) -> list[bytes]:
        full = b"station_m,offset_m,elevation_m,u_m\n0,0,1.5,0.001\n1,-0.5,1.6,\n1,0,1.61,0.002\n2.5,0,2.0,0.002\n"
        return [(ROOT / "tui/demo/ground.csv").read_bytes(), full, b"station_m,elevation_m\n0,0\n1,1\n2,4\n"]

    def take(self, data: bytes) -> None:
        from logger.profile_file import read_profile
        from logger.profile_report import csv_text, document

        profile = read_profile(self.written("p.csv", data))
        json.dumps(document(profile), allow_nan=False, default=str)
        again = read_profile(self.written("p.csv", csv_text(profile).encode())).points
        if any(abs(a.elevation_m - b.elevation_m) > 1e-6 for a, b in zip(again, profile.points, strict=True)):
            raise Wrong("written and read again, it is another")


class LevelsCsv(OfFile):
    """Levelling notes, adjusted where they are accepted, and the pairs of the field test."""

    def seeds(self) -> list[bytes]:
        notes = [p.read_bytes() for p in sorted((ROOT / "fixtures/levels").glob("*.csv"))]
        return [*notes, b"set,a_m,b_m\n" + b"".join(b"%d,1.%d,2.0\n" % (s, i) for s in (1, 2) for i in range(6))]

    def take(self, data: bytes) -> None:
        from logger.field_test_file import read_differences
        from logger.reduction.adjustment import adjust
        from logger.reduction.levels import read_levels

        if data.startswith(b"set"):
            read_differences(self.written("pairs.csv", data))
        profile = adjust(read_levels(data.decode("utf-8", "replace"), "the input").survey()).profile
        if not all(math.isfinite(p.elevation_m) for p in (*profile.points, *profile.named)):
            raise Wrong("an elevation that is not finite")


TARGETS: dict[str, type[Target]] = {
    "decoders": Decoders,
    "session": DamagedSession,
    "jsonl": JsonLines,
    "instrument-toml": InstrumentToml,
    "brief-toml": BriefToml,
    "rules-toml": RuleToml,
    "catalogue": CatalogueFile,
    "profile-csv": ProfileCsv,
    "levels-csv": LevelsCsv,
}


GUIDED = [
    *(f"drivers.decoders.{name}" for name in ("frames", "gatt", "lines", "modbus", "nmea0183", "scpi")),
    *("drivers.instrument", "logger.catalogue", "logger.profile_file", "logger.reduction.adjustment"),
    *("logger.reduction.levels", "logger.session.verify", "logger.steps.brief"),
]
"""Modules whose coverage guides, with what they import."""


def ours() -> tuple[type[Exception], ...]:
    """The errors a reader may raise."""
    from drivers.errors import DriverError
    from logger.errors import RiseError

    return (DriverError, RiseError)


def read_session(path: Path) -> None:
    """Everything that reads a session, each on its own: one refusal does not spare the next reader."""
    from logger.profile_file import read_adjustment
    from logger.session.jsonl import export_jsonl
    from logger.session.replay import survey, units_of
    from logger.session.verify import same_profile, verify

    def export() -> None:
        with open(os.devnull, "w", encoding="utf-8") as out:
            export_jsonl(path, out)

    readers: Sequence[Callable[[], object]] = (
        lambda: survey(path),
        lambda: units_of(path),
        lambda: read_adjustment(path),
        lambda: same_profile(*verify(path)[1:]),
        export,
    )
    for read in readers:
        try:
            read()
        except ours() as error:
            spoken(error)


def spoken(error: Exception) -> None:
    """Wrong where an error says nothing to a person."""
    if len(str(error).split()) < 3 or "Traceback" in str(error):
        raise Wrong(f"{type(error).__name__} says {str(error)!r}")


class Run:
    """One target being fed: counts, crashes by place, memory on the way."""

    def __init__(self, name: str, inputs: int, keep: Path) -> None:
        self.name, self.inputs, self.keep = name, inputs, keep
        self.target = TARGETS[name]()
        self.count = self.refused = 0
        self.crashes: Counter[str] = Counter()
        self.memory_mb: list[float] = []
        self.slowest_s = 0.0
        self.start = time.monotonic()
        signal.signal(signal.SIGALRM, self._late)

    def feed(self, data: bytes) -> None:
        """Take one input; after the last the tale is told and the process ends."""
        if self.count % max(self.inputs // SAMPLES, 1) == 0:
            self.memory_mb.append(resident_mb())
        if self.count % 500 == 0:
            faulthandler.dump_traceback_later(STUCK_S, exit=True)
        self.count += 1
        began = time.perf_counter()
        signal.setitimer(signal.ITIMER_REAL, LIMIT_S)
        try:
            self.target.take(data)
        except ours() as error:
            self.refused += 1
            try:
                spoken(error)
            except Wrong as wrong:
                self._crash(wrong, data)
        except (Exception, Hung) as error:
            self._crash(error, data)
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
        self.slowest_s = max(self.slowest_s, time.perf_counter() - began)
        if self.count >= self.inputs:
            self.tell()

    def tell(self) -> None:
        """Print what came of it and end."""
        self.memory_mb.append(resident_mb())
        took = time.monotonic() - self.start
        growth = self.memory_mb[-1] - self.memory_mb[min(SAMPLES // 5, len(self.memory_mb) - 1)]
        told = {
            "target": self.name,
            "guided": "atheris" in sys.modules,
            "inputs": self.count,
            "refused_in_words": self.refused,
            "inputs_per_s": round(self.count / took),
            "slowest_ms": round(self.slowest_s * 1e3, 1),
            "memory_mb": [round(m, 1) for m in (self.memory_mb[0], self.memory_mb[-1])],
            "growth_mb_after_a_fifth": round(growth, 1),
            "crashes": dict(self.crashes),
        }
        print(json.dumps(told), flush=True)
        if isinstance(self.target, OfFile):
            shutil.rmtree(self.target.folder, ignore_errors=True)
        os._exit(1 if self.crashes or growth > GROWTH_MB else 0)

    def _late(self, number: int, frame: FrameType | None) -> None:
        raise Hung(f"longer than {LIMIT_S:g} s")

    def _crash(self, error: BaseException, data: bytes) -> None:
        frames = [
            f
            for f in traceback.extract_tb(error.__traceback__)
            if str(ROOT) in f.filename and ".venv" not in f.filename
        ]
        last = next((f for f in reversed(frames) if f.filename != __file__), frames[-1])
        place = f"{type(error).__name__} at {Path(last.filename).relative_to(ROOT)}:{last.lineno}"
        self.crashes[place] += 1
        if self.crashes[place] == 1:
            file = self.keep / f"{self.name}-{len(self.crashes)}"
            file.write_bytes(data)
            print(f"{place}: {str(error)[:200]} (input in {file})", file=sys.stderr, flush=True)


def resident_mb() -> float:
    """Resident memory of this process now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 2**20


def mutated(seeds: Sequence[bytes], chance: random.Random) -> bytes:
    """A valid input with a few changes, or plain noise."""
    if chance.random() < 0.1:
        return chance.randbytes(chance.randrange(200))
    data = bytearray(chance.choice(seeds))
    for _ in range(1 + int(chance.expovariate(0.5))):
        at = chance.randrange(len(data) + 1)
        match chance.randrange(7):
            case 0:
                data[at : at + 1] = bytes([chance.randrange(256)])
            case 1:
                del data[at : at + chance.randrange(1, 30)]
            case 2:
                data[at : at + chance.choice((0, 0, 1, 4))] = chance.choice(TOKENS)
            case 3:
                data[at:at] = data[at : at + chance.randrange(1, 60)]
            case 4:
                other = chance.choice(seeds)
                data[at:] = other[chance.randrange(len(other) + 1) :]
            case 5:
                _value(data, at, chance)
            case _:
                if at < len(data):
                    data[at] ^= 1 << chance.randrange(8)
    return bytes(data[: 4 * LARGEST])


def _value(data: bytearray, at: int, chance: random.Random) -> None:
    """Replace what stands between two signs (a value, a cell, a key) by something of the list."""
    signs = b',="\n: '
    begin = max(data.rfind(sign, 0, at) for sign in signs) + 1
    ends = [e for sign in signs if (e := data.find(sign, at)) >= 0]
    data[begin : min(ends, default=len(data))] = chance.choice(TOKENS)


def plain(name: str, inputs: int, keep: Path) -> None:
    """Mutation without a guide."""
    run = Run(name, inputs, keep)
    seeds, chance = run.target.seeds(), random.Random(7)
    for seed in seeds:
        run.feed(seed)
    while True:
        run.feed(mutated(seeds, chance))


def guided(name: str, inputs: int, keep: Path) -> None:
    """Mutation guided by the coverage of our own code."""
    import atheris

    with atheris.instrument_imports(include=["drivers", "logger", "tui"]):
        for module in GUIDED:
            import_module(module)
    run = Run(name, inputs, keep)
    with tempfile.TemporaryDirectory(prefix="risewalk-corpus-") as folder:
        for i, seed in enumerate(run.target.seeds()):
            (Path(folder) / str(i)).write_bytes(seed)
        words = Path(folder).with_suffix(".words")
        quoted = ("".join(f"\\x{byte:02x}" for byte in token) for token in TOKENS if 0 < len(token) < 64)
        words.write_text("".join(f'"{token}"\n' for token in quoted))
        seeds, chance = run.target.seeds(), random.Random(7)

        def mutate(data: bytes, largest: int, seed: int) -> bytes:
            # half by libFuzzer's own hand, half as without a guide: its bytes rarely make a whole word of a file
            if seed % 2:
                return bytes(atheris.Mutate(data, largest))
            return mutated([data, chance.choice(seeds)] if data else seeds, chance)[:largest]

        asked = [sys.argv[0], folder, f"-dict={words}", f"-max_len={LARGEST}", "-timeout=0", "-verbosity=0", "-seed=7"]
        atheris.Setup(asked, run.feed, custom_mutator=mutate)
        atheris.Fuzz()


def main() -> None:
    """Run the targets one after the other; exit 1 where one of them found something."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("target", nargs="*", choices=[*TARGETS, []], help="all where none is named")
    options.add_argument("--inputs", type=int)
    options.add_argument("--plain", action="store_true")
    options.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "risewalk-crashes")
    options.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    asked = options.parse_args()
    asked.keep.mkdir(parents=True, exist_ok=True)
    if asked.here:
        (plain if asked.plain else guided)(asked.target[0], asked.inputs, asked.keep)
    bad = False
    for name in asked.target or TARGETS:
        inputs = str(asked.inputs or INPUTS.get(name, FEWER))
        command = [sys.executable, __file__, name, "--here", "--inputs", inputs, "--keep", str(asked.keep)]
        command += ["--plain"] if asked.plain or find_spec("atheris") is None else []
        bad |= subprocess.run(command, check=False).returncode != 0
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
