"""Asking an instrument that is silent, where the user allows it: questions that only read, never settings."""

import struct
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from drivers.checks import check_bytes
from drivers.identify.text import printable_share

if TYPE_CHECKING:
    from drivers.identify.hearing import Hearing

ANSWER_S = 0.4
PACE_S = 0.1
EACH = 12
"""How often the question that was answered is asked again."""


def read_question(function: int, first: int, count: int, unit: int = 1) -> bytes:
    """A Modbus RTU question."""
    body = struct.pack(">BBHH", unit, function, first, count)
    return body + check_bytes("crc16", body)


QUESTIONS: dict[str, bytes] = {
    "scpi MEAS?": b"MEAS?\n",
    "scpi READ?": b"READ?\n",
    "scpi FETC?": b"FETC?\n",
    "modbus 3 0 2": read_question(3, 0, 2),
    "modbus 4 0 2": read_question(4, 0, 2),
    "send \r\n": b"\r\n",
    "send ?\r\n": b"?\r\n",
    "send R\r\n": b"R\r\n",
}
IDENTITY = b"*IDN?\n"


async def ask_around(hearing: "Hearing", clock: Callable[[], float], until_s: float) -> None:
    """Ask one question after the other until one is answered with a number, then go on with that one."""
    await hearing.ask(IDENTITY, "identity", min(clock() + ANSWER_S, until_s))
    scpi = answered(hearing.stretches[-1].data)
    for name, question in QUESTIONS.items():
        if clock() >= until_s or hearing.lost:
            return
        if name.startswith("scpi") and not scpi:
            continue
        await hearing.ask(question, name, min(clock() + ANSWER_S, until_s))
        if answered(hearing.stretches[-1].data, number=True):
            for _ in range(EACH):
                await hearing.stay(min(clock() + PACE_S, until_s))
                if clock() < until_s and not hearing.lost:
                    await hearing.repeat(question, min(clock() + ANSWER_S, until_s))
            return
    hearing.stretches.append(type(hearing.stretches[0])(hearing.stretches[0].serial))


def answered(data: bytes, *, number: bool = False) -> bool:
    """Whether something sensible came back; with `number`, something with a number that is no error."""
    if not data:
        return False
    if printable_share(data) < 0.9:
        return len(data) >= 7 and not data[1] & 0x80
    return not number or (any(48 <= b <= 57 for b in data) and b"ERR" not in data.upper())


def ask_table(question: str) -> dict[str, Any]:
    """The tables of an instrument file that asks this question."""
    kind, _, text = question.partition(" ")
    match kind:
        case "scpi":
            return {"ask": {"every": "0.2 s"}, "decoder": {"kind": "scpi", "query": text}}
        case "modbus":
            return {"ask": {"every": "0.2 s"}}
        case "send":
            return {"ask": {"send": text, "every": "0.2 s"}}
        case _:
            return {}
