"""Sessions: bytes of the file damaged, lines of the text form changed, lines said to a recorder."""

import contextlib
import json
import math
import os
import random
from collections.abc import Callable, Sequence
from pathlib import Path

from fuzzing.target import ROOT, OfFile, Target, Wrong, ours, spoken

MOST = 4096


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
        return [edit for edit in edits if len(edit) < MOST]

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


class SaidLines(Target):
    """Lines said to a recorder, and ports that name a recording."""

    def seeds(self) -> list[bytes]:
        words = (
            "benchmark BM 100 ft|station 12 ft 6 in left 2 # by the oak|turn TP1|setup|point sill|surface dug|rod 0.5"
        )
        words += (
            "|base 3 front|built 3 back|face 3 172 mm left|force station 1+25|strike 4 # slipped|note [/x]|watch on"
        )
        words += "|status|list|cancel|end|replay://a.walk?speed=10&pause=60|replay:///x%20y.walk?speed=0"
        return [line.encode() for line in words.split("|")]

    def take(self, data: bytes) -> None:
        from drivers.lengths import Units
        from logger.recorder.commands import read_command
        from logger.session.transport import replayed

        text = data.decode("utf-8", "replace").strip()
        for units in Units:
            with contextlib.suppress(*ours()):
                read_command(text, units)
        if not 0 <= replayed(text).speed < math.inf:
            raise Wrong("a speed that is none")
        read_command(text, Units.METRES)


def read_session(path: Path) -> None:
    """Everything that reads a session, each on its own: one refusal does not spare the next reader."""
    from logger.profile_file import read_adjustment
    from logger.session.jsonl import export_jsonl
    from logger.session.played import played
    from logger.session.replay import survey, units_of
    from logger.session.store import Session
    from logger.session.verify import same_profile, verify

    def play() -> None:
        with Session.open(path) as session:
            json.dumps(list(played(session)), allow_nan=False)

    def export() -> None:
        with open(os.devnull, "w", encoding="utf-8") as out:
            export_jsonl(path, out)

    readers: Sequence[Callable[[], object]] = (
        lambda: survey(path),
        lambda: units_of(path),
        lambda: read_adjustment(path),
        lambda: same_profile(*verify(path)[1:]),
        play,
        export,
    )
    for read in readers:
        try:
            read()
        except ours() as error:
            spoken(error)
