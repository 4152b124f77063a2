"""Asking an instrument that is silent, where the user allows it: questions that only read, never settings."""

import struct
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from drivers.checks import check_bytes
from drivers.identify.registers import frames_of
from drivers.identify.text import printable_share
from drivers.tables import SerialTable

if TYPE_CHECKING:
    from drivers.identify.hearing import Hearing

ANSWER_S = 0.25
CALL_S = 0.15
"""How long a unit that may not be there is waited for."""
SCPI = ("MEAS?", "READ?", "FETC?", "MEAS:HEIG?", "MEAS:LEV?", "MEAS:DISP?", "MEAS:DIST?", "MEAS:LENG?")
SENT = ("\r\n", "?\r\n", "R\r\n", "P\r\n", "\r")
UNITS = (1, 2, 3, 4, 5, 10, 16, 17, 247)
"""Addresses on the line that Modbus instruments are delivered with (common practice)."""
BLOCKS = (0, 1, 16, 100, 256, 1000, 4096)
"""First registers of maps that are often seen (common practice)."""
MOST_REGISTERS = 16
NO_SUCH_FUNCTION = 1
MOST_BLOCKS = 3
IDENTITY = b"*IDN?\n"
SPEEDS = (
    SerialTable(),
    SerialTable(baud=19200, parity="even"),
    SerialTable(baud=19200),
    SerialTable(baud=115200),
    SerialTable(baud=9600, parity="even"),
    SerialTable(baud=38400),
)


def read_question(function: int, first: int, count: int, unit: int = 1) -> bytes:
    """A Modbus RTU question."""
    body = struct.pack(">BBHH", unit, function, first, count)
    return body + check_bytes("crc16", body)


class Asker:
    """Asks one question after the other until one is answered with a number, then goes on with that one."""

    def __init__(self, hearing: "Hearing", clock: Callable[[], float], until_s: float) -> None:
        self._hearing = hearing
        self._clock = clock
        self._until_s = until_s
        self._text = False
        """Whether it has answered anything in text: then it speaks no Modbus, and the speed is right."""

    @property
    def over(self) -> bool:
        """Whether there is no time left, or no port."""
        return self._hearing.lost or self._clock() >= self._until_s

    async def ask_around(self) -> None:
        """Everything at the commonest settings first, then at others while there is time."""
        for place, serial in enumerate(SPEEDS):
            if self._text:
                break
            if place:
                await self._hearing.adjust(serial)
            if self.over or await self._scpi() or await self._modbus() or await self._lines():
                return
        self._hearing.forget()

    async def _answer(self, question: bytes, name: str, within_s: float = ANSWER_S) -> bytes:
        await self._hearing.ask(question, name, min(self._clock() + within_s, self._until_s))
        data = self._hearing.stretches[-1].data
        self._text |= is_text(data)
        return data

    async def _scpi(self) -> bool:
        identity = b"" if self.over else await self._answer(IDENTITY, "identity")
        if not is_text(identity) or b"ERR" in identity.upper():
            return False
        for query in SCPI:
            if not self.over and is_number(await self._answer(f"{query}\n".encode(), f"scpi {query}")):
                return await self._go_on([f"{query}\n".encode()])
        return False

    async def _lines(self) -> bool:
        for text in SENT:
            if not self.over and is_number(await self._answer(text.encode(), f"send {text}")):
                return await self._go_on([text.encode()])
        return False

    async def _modbus(self) -> bool:
        for unit in UNITS:
            if self.over or self._text:
                return False
            if frames_of(await self._answer(read_question(3, 0, 1, unit), "modbus", CALL_S)):
                return await self._go_on(await self._blocks(unit))
        return False

    async def _blocks(self, unit: int) -> list[bytes]:
        """Questions for blocks of registers this unit has."""
        found: list[bytes] = []
        for function in (3, 4):
            free = 0
            for first in BLOCKS:
                if first < free or len(found) == MOST_BLOCKS:
                    continue
                question, count, refused = await self._block(unit, function, first)
                if count:
                    found.append(question)
                    free = first + count
                elif refused == NO_SUCH_FUNCTION:
                    break
        return found

    async def _block(self, unit: int, function: int, first: int) -> tuple[bytes, int, int]:
        """The question for as many registers as are given here at once, how many that are, and the last refusal."""
        most, least_refused, refused = 0, MOST_REGISTERS + 1, 0
        while least_refused - most > 1 and not self.over:
            count = min(2 * most or 1, (most + least_refused) // 2)
            heard = frames_of(await self._answer(read_question(function, first, count, unit), "modbus"))
            if heard and heard[-1][1] == function:
                most = count
            else:
                least_refused, refused = count, heard[-1][2] if heard else 0
        return read_question(function, first, most, unit), most, refused

    async def _go_on(self, questions: Iterable[bytes]) -> bool:
        """Ask the same again and again until the time is over; whether there was anything to ask."""
        questions = list(questions)
        while questions and not self.over:
            for question in questions:
                await self._hearing.repeat(question, min(self._clock() + ANSWER_S, self._until_s))
        return bool(questions)


def is_text(data: bytes) -> bool:
    """Whether some text came back."""
    return bool(data) and printable_share(data) >= 0.9


def is_number(data: bytes) -> bool:
    """Whether a number came back, and no error."""
    return is_text(data) and any(48 <= b <= 57 for b in data) and b"ERR" not in data.upper()


def ask_table(question: str) -> dict[str, Any]:
    """The tables of an instrument file that asks this question."""
    kind, _, text = question.partition(" ")
    if kind in ("scpi", "modbus"):
        return {"ask": {"every": "0.2 s"}}
    return {"ask": {"send": text, "every": "0.2 s"}} if kind == "send" else {}
