"""Finds the recorder of a session, or starts one in a session of its own, so that it outlives whoever started it."""

import asyncio
import logging
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import IO

from logger.errors import CannotWrite, Refused, RiseError
from logger.recorder.client import Client, attach
from tui.cli import NO_INSTRUMENT

POLL_S = 0.02
STARTS_WITHIN_S = 60.0
LAST_WORDS = 2000


@dataclass(frozen=True, slots=True)
class Opening:
    """What a walk is opened with; empty words leave the choice to the session or the defaults."""

    session: Path
    port: str = ""
    instrument: str = ""
    job: str = ""
    units: str = ""
    tape: str = ""

    def held(self, tape: str) -> "Opening":
        """The same with a tape held in this way."""
        return replace(self, tape=tape)

    def record_command(self) -> list[str]:
        """The command that records this walk behind a socket."""
        command = [sys.executable, "-m", "tui.cli", "record", os.fspath(self.session), "--socket"]
        told = self if self.units else replace(self, units=_recorded_units(self.session))
        for option in ("port", "instrument", "job", "units", "tape"):
            if value := getattr(told, option):
                command += [f"--{option}", value]
        return command


def _recorded_units(session: Path) -> str:
    """The units of a session that is gone on with, empty where there is none: 20 means what it meant before."""
    from logger.session.replay import units_of

    try:
        return str(units_of(session)) if session.exists() else ""
    except (RiseError, OSError):  # its recorder says what is wrong with it
        return ""


@dataclass(slots=True)
class Started:
    """A recorder that was started and may not listen yet; `said` is the file with its last words."""

    process: subprocess.Popen[bytes]
    said: IO[bytes]
    starts_at: int

    def last_words(self) -> str:
        """The last line it said on stderr."""
        self.said.seek(self.starts_at)
        lines = self.said.read().decode(errors="replace")[-LAST_WORDS:].strip().splitlines()
        return lines[-1].removeprefix("Error: ").removeprefix("risewalk: ") if lines else "it ended without a word"


class NotStarted(Refused):
    """No recorder: `code` is the exit code of one that was started and ended, else that of a missing instrument."""

    def __init__(self, words: str, code: int | None = None) -> None:
        super().__init__("not_started", words)
        self.code = code or NO_INSTRUMENT


def new_session(folder: Path) -> Path:
    """Where a session begun now is kept, named after the time here."""
    return folder / f"walk-{datetime.now().strftime('%Y-%m-%d-%H%M%S')}.walk"


def log_folder() -> Path:
    """The folder of log files, made if need be."""
    folder = log_path().parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(folder, error.strerror or "cannot be made") from error
    return folder


def log_path() -> Path:
    """The file of what happened behind the screen."""
    from platformdirs import user_log_path

    return user_log_path("risewalk") / "walk.log"


def log_to_file() -> Path:
    """Send what is logged to a file: the screen is no place for it."""
    log_folder()
    path = log_path()
    logging.basicConfig(filename=path, level=logging.INFO, format="%(asctime)s %(name)s %(levelname)s %(message)s")
    return path


def start(command: Sequence[str]) -> Started:
    """Start a recorder that no terminal and no client can take with it when they go."""
    said = (log_folder() / "recorder.log").open("a+b")
    starts_at = said.seek(0, os.SEEK_END)
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=said, start_new_session=True
    )
    return Started(process, said, starts_at)


async def connected(opening: Opening, started: Started | None = None, within_s: float = STARTS_WITHIN_S) -> Client:
    """A client of the session's recorder, which is started unless one runs.

    NotStarted carries what a started one said where it ended, or that it did not listen in time.
    """
    loop = asyncio.get_running_loop()
    deadline = loop.time() + within_s
    while loop.time() < deadline:
        if (client := await attach(opening.session)) is not None:
            return client
        started = started or start(opening.record_command())
        if (code := started.process.poll()) is not None:
            raise NotStarted(started.last_words(), code)
        await asyncio.sleep(POLL_S)
    raise NotStarted(f"the recorder did not listen within {within_s:g} s")
