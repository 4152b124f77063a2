"""What there is to connect to: ports, instruments by name, and an unknown one listened to and kept as a file."""

import asyncio
import contextlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drivers.lengths import Units
from logger.errors import CannotWrite
from tui.walking import chores
from tui.walking.distances import height
from tui.walking.said import safe

LISTS_WITHIN_S = 3.0
LISTEN_S, ADVERTISING_S = 6, 5
Tables = Mapping[str, Any]
FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")


async def ports() -> dict[str, str]:
    """What is plugged in: port, and what its adapter tells of itself."""
    from drivers.errors import PortError
    from drivers.ports import plugged_in

    with contextlib.suppress(TimeoutError, OSError, PortError):
        async with asyncio.timeout(LISTS_WITHIN_S):
            return {s.port: safe(s.description, 40) for s in await asyncio.to_thread(plugged_in)}
    return {}


async def advertising() -> tuple[dict[str, str], str]:
    """What advertises over Bluetooth LE, and why nothing was found."""
    answer, why = await chores.asked("ports", "--ble", "--seconds", str(ADVERTISING_S))
    if answer is None:
        return {}, safe(why)
    found = answer["advertising"]
    told = {each["port"]: safe(" ".join([each["name"] or "", *each["instruments"]]), 40) for each in found}
    return told, "" if told else "Nothing advertises. Is the instrument on, and not connected to a phone?"


def instruments() -> dict[str, str]:
    """The instrument files at hand, by name, with what they say they are."""
    from drivers.errors import InstrumentFileError
    from drivers.instrument import load, names

    told = {}
    for name in names():
        try:
            told[name] = safe(load(name).instrument.name, 60)
        except InstrumentFileError:
            told[name] = "this file has mistakes: risewalk instruments check"
    return told


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard on a port: what it seems to be, as tables of an instrument file, or None."""

    words: str
    proposal: Tables | None = None


async def listened(port: str) -> Heard:
    """Listen to an unknown instrument for a few seconds."""
    told, why = await chores.asked("listen", port, "--seconds", str(LISTEN_S))
    if told is None:
        return Heard(safe(why, 300))
    if told["instrument"] is None:
        silent = "It is silent: is it switched on?" if not told["bytes"] else "Nothing in it was recognised."
        return Heard(f"{told['bytes']} bytes were heard. {silent} risewalk listen {port} --ask tries more.")
    sure = "sure" if told["confidence"] >= 0.5 else "unsure"
    kind, heights = told["instrument"]["decoder"]["kind"], [r["height_m"] for r in told["readings"]]
    last = f", the last {height(heights[-1], Units.METRES)}" if heights else ""
    return Heard(f"It speaks {kind} ({sure}): {len(heights)} readings{last}.", told["instrument"])


def keep(name: str, proposal: Tables, *, up: int) -> None:
    """Keep a proposal under a name in the folder of the person's own instruments; CannotWrite says why not."""
    from drivers.instrument import dump, from_tables, user_folder

    tables = {**proposal, "height": {**proposal.get("height", {}), "up": up}}
    path = user_folder() / f"{name}.toml"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(dump(from_tables(tables, name)), encoding="utf-8")
    except OSError as error:
        raise CannotWrite(path, error.strerror or "cannot be written") from error


def wrong_file_name(name: str) -> str:
    """What is wrong with a name for an instrument file, or nothing."""
    return "" if FILE_NAME.fullmatch(name) else "letters, figures and - alone"
