"""Power cuts, simulated from the system calls a real recorder made.

`strace` writes down every write, truncation, sync and removal of the session's files, and every answer that went to
stdout, in order. A cut is then made after any of them: what was synced is on the disk; of what was not, each sector of
512 bytes is kept or lost on its own, in any order, and a removal or a new name has or has not happened. The files
left behind are opened by the program, which must find every answered tag and an unbroken chain.
"""

import random
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
NAMES = {"make", "remove"}
CALLS = "openat,write,pwrite64,ftruncate,fsync,fdatasync,unlink,rename"
LINE = re.compile(r"(?P<pid>\d+) +(?P<rest>.*)")
CALL = re.compile(r"(?P<name>\w+)\((?P<arguments>.*)\) += (?P<result>-?\d+)")
ON_FILE = re.compile(r"\d+<(?P<path>[^>]*)>(?P<rest>.*)")
TEXT = re.compile(r'"(?P<text>(?:\\x[0-9a-f]{2})*)"(?P<cut>\.\.\.)?')


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that happened: `kind` is write, size, sync, remove, make, rename (`data` the new name) or answer."""

    kind: str
    path: str = ""
    at: int = 0
    data: bytes = b""


@dataclass(slots=True)
class OnDisk:
    """One file: what is certainly on the disk, and the changes that a sync has not confirmed."""

    durable: bytearray = field(default_factory=bytearray)
    exists: bool = False
    pending: list[Step] = field(default_factory=list)
    was: str = ""
    """The name it had, where the new one is not synced yet."""


def traced(command: list[str], log: Path, **options: object) -> subprocess.Popen[bytes]:
    """Start a command with its file calls written to `log`."""
    trace = ["strace", "-f", "-y", "-xx", "-s", "200000", "-e", f"trace={CALLS}", "-e", "signal=none", "-o", str(log)]
    return subprocess.Popen([*trace, *command], **options)  # type: ignore[call-overload, no-any-return]


def steps(log: Path, session: Path) -> list[Step]:
    """What happened to the session's files, and what was answered on stdout, in order."""
    new = session.with_name(f".{session.name}.new")
    names = {f"{path}{suffix}" for path in (session, new) for suffix in ("", "-wal", "-journal")} | {
        str(session.parent)
    }
    found: list[Step] = []
    for call in calls(log):
        name, arguments, result = call
        if result < 0:
            continue
        if (step := step_of(name, arguments, result)) is not None and (step.kind == "answer" or step.path in names):
            found.append(step)
    return found


def calls(log: Path) -> Iterator[tuple[str, str, int]]:
    """Finished calls in the order they finished; the two halves of an interrupted one joined."""
    halves: dict[str, str] = {}
    with log.open(encoding="ascii") as lines:
        for line in lines:
            if (parts := LINE.fullmatch(line.rstrip("\n"))) is None:
                continue
            pid, rest = parts["pid"], parts["rest"]
            if rest.endswith("<unfinished ...>"):
                halves[pid] = rest.removesuffix("<unfinished ...>").rstrip()
                continue
            if rest.startswith("<... "):
                rest = halves.pop(pid, "") + rest.partition(" resumed>")[2]
            if (call := CALL.match(rest)) is not None:
                yield call["name"], call["arguments"], int(call["result"])


def step_of(name: str, arguments: str, result: int) -> Step | None:
    """The step a finished call stands for, None if for none."""
    if name == "unlink":
        return Step("remove", _text(arguments).decode())
    if name == "openat":
        quoted = TEXT.search(arguments)
        made = quoted is not None and _flags(arguments) >= {"O_CREAT"}
        return Step("make", _text(arguments).decode()) if made else None
    if name == "rename":
        old, new = (bytes.fromhex(t["text"].replace("\\x", "")) for t in TEXT.finditer(arguments))
        return Step("rename", old.decode(), data=new)
    if (on := ON_FILE.match(arguments)) is None:
        return None
    path, rest = bytes.fromhex(on["path"].replace("\\x", "")).decode(errors="replace"), on["rest"]
    match name:
        case "write" if arguments.startswith("1<"):
            return Step("answer", data=_text(rest))
        case "pwrite64":
            return Step("write", path, int(rest.rsplit(",", 1)[1]), _text(rest)[:result])
        case "ftruncate":
            return Step("size", path, int(rest.rsplit(",", 1)[1]))
        case "fsync" | "fdatasync":
            return Step("sync", path)
    return None


def _flags(arguments: str) -> set[str]:
    return set(re.findall(r"O_\w+", arguments))


def _text(rest: str) -> bytes:
    text = TEXT.search(rest)
    if text is None or text["cut"]:
        raise ValueError("the trace is cut short; raise its -s")
    return bytes.fromhex(text["text"].replace("\\x", ""))


class Disk:
    """The session's files as a disk may hold them."""

    def __init__(self) -> None:
        self.files: dict[str, OnDisk] = {}

    def take(self, step: Step) -> None:
        """One more thing happened."""
        if step.kind == "answer":
            return
        if step.kind == "rename":
            file = self.files.pop(step.path)
            file.was = step.path
            self.files[step.data.decode()] = file
            return
        for path, file in self.files.items():
            if step.kind == "sync" and path == step.path:
                _confirm(file, NAMES, named=False)
            elif step.kind == "sync" and str(Path(path).parent) == step.path:
                _confirm(file, NAMES, named=True)
                file.was = ""
        if step.kind != "sync":
            self.files.setdefault(step.path, OnDisk()).pending.append(step)

    def cut(self, folder: Path, chance: random.Random) -> None:
        """Write the files as they may be found after the power went: any part of what was not synced."""
        kept = chance.choice([0.0, 0.1, 0.5, 0.9, 1.0])
        for path, file in self.files.items():
            found = OnDisk(bytearray(file.durable), file.exists)
            for pending in file.pending:
                for part in _sectors(pending):
                    if chance.random() < kept:
                        _apply(found, part)
            name = file.was if file.was and chance.random() < 0.5 else path
            if found.exists:
                (folder / Path(name).name).write_bytes(found.durable)


def _confirm(file: OnDisk, kinds: set[str], *, named: bool) -> None:
    """A sync of the file confirms its content, one of its folder that it is there or gone."""
    for pending in file.pending:
        if (pending.kind in kinds) is named:
            _apply(file, pending)
    file.pending = [p for p in file.pending if (p.kind in kinds) is not named]


def _apply(file: OnDisk, step: Step) -> None:
    if step.kind == "make":
        file.exists = True
    elif step.kind == "remove":
        file.exists = False
        file.durable.clear()
    elif step.kind == "size":
        del file.durable[step.at :]
        file.durable += bytes(step.at - len(file.durable))
    else:
        if len(file.durable) < step.at:
            file.durable += bytes(step.at - len(file.durable))
        file.durable[step.at : step.at + len(step.data)] = step.data


def _sectors(step: Step) -> Iterator[Step]:
    if step.kind != "write":
        yield step
        return
    at, data = step.at, step.data
    while data:
        size = SECTOR - at % SECTOR
        yield Step("write", step.path, at, data[:size])
        at, data = at + size, data[size:]
