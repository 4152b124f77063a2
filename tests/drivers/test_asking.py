"""Identifying instruments that are silent until asked: SCPI, Modbus of several maps, and lines; nothing without leave."""

import asyncio
import math
import struct
from dataclasses import replace

import pytest

from drivers.errors import PortSilent
from drivers.identify import hearing
from drivers.identify.hearing import Identified, identify
from drivers.identify.proposal import UNSURE
from drivers.simulator.hose import Shown
from drivers.simulator.speech import SPEECHES, Modbus, Scpi, Speech
from drivers.simulator.virtual import VirtualInstrument
from drivers.transports.simulated import SimulatedTransport, on_stage

SECONDS = 6.0


class FloatLowWordFirst(Modbus):
    """Unit 3, input registers from 16 on: height in metres, low word first, then a temperature that stands still."""

    unit, function = 3, 4
    first = 16

    def registers(self, shown: Shown) -> bytes:
        word = struct.pack(">f", shown.height_m)
        return bytes(2 * self.first) + word[2:] + word[:2] + struct.pack(">h", 185)


class Millimetres(Modbus):
    """One register of whole millimetres behind a serial number and a status."""

    def registers(self, shown: Shown) -> bytes:
        return struct.pack(">HHh", 4711, 0, round(shown.height_m * 1000))


class BytesExchanged(Modbus):
    """Unit 10, a float in millimetres with its bytes exchanged in each register."""

    unit = 10

    def registers(self, shown: Shown) -> bytes:
        swapped = struct.pack(">f", shown.height_m * 1000)
        return bytes(swapped[i] for i in (1, 0, 3, 2)) + struct.pack(">H", 87)


class Long(Modbus):
    """A whole number of hundredths of a millimetre that needs two registers."""

    def registers(self, shown: Shown) -> bytes:
        return struct.pack(">iH", round(shown.height_m * 1e5), 1)


class LastUnit(Modbus):
    """Unit 247, which has few registers and gives no more than two at once."""

    unit = 247

    def registers(self, shown: Shown) -> bytes:
        return struct.pack(">f", shown.height_m)


class Joined(Scpi):
    """Temperature, then height with its unit, on one line."""

    def _answer(self, question: str, show: object) -> str:
        answer = super()._answer(question, show)  # type: ignore[arg-type]
        return f"18.5 CEL;{float(answer) * 1000:.2f} MM" if question.strip() == "MEAS?" else answer


class HeightAlone(Scpi):
    """Knows `MEAS:HEIG?` and no shorter question."""

    def _answer(self, question: str, show: object) -> str:
        known = {"MEAS:HEIG?": "MEAS?", "MEAS?": "NO", "READ?": "NO", "FETC?": "NO"}
        return super()._answer(known.get(question.strip(), question), show)  # type: ignore[arg-type]


DEVICES: dict[str, type[Speech]] = {
    **{name: SPEECHES[name] for name in ("modbus", "scpi", "polled")},
    "low word first": FloatLowWordFirst,
    "millimetres": Millimetres,
    "bytes exchanged": BytesExchanged,
    "long": Long,
    "last unit": LastUnit,
    "joined": Joined,
    "height alone": HeightAlone,
}
BY_STANDARD = {"scpi", "polled", "joined", "height alone"}
"""Those that say what their unit is, or whose standard does."""


class Waved(VirtualInstrument):
    """Its probe goes up and down all the time; remembers what it showed."""

    def __init__(self, speech: type[Speech]) -> None:
        super().__init__(speak="it", speeches={"it": speech})
        self.shown: list[float] = []

    def _show(self, now_s: float) -> Shown:
        shown = replace(super()._show(now_s), height_m=0.65 + 0.25 * math.sin(2.5 * now_s))
        self.shown.append(shown.height_m)
        return shown


async def test_devices_that_must_be_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, speech in DEVICES.items():
        monkeypatch.setitem(on_stage, name, Waved(speech))
    found = await asyncio.gather(*(identify(f"sim://{name}", SECONDS, ask=True) for name in DEVICES))
    for name, heard in zip(DEVICES, found, strict=True):
        assert_right(name, heard)


def assert_right(name: str, heard: Identified) -> None:
    assert heard.best is not None, name
    assert len(heard.readings) >= 5, (name, heard.best)
    played = on_stage[name]
    assert isinstance(played, Waved)
    for reading in heard.readings:
        nearest = min(abs(reading.height_m - h) for h in played.shown)
        assert nearest < 0.0006, (name, reading, heard.best)
    assert (heard.best.confidence >= UNSURE) == (name in BY_STANDARD), (name, heard.best)


async def test_a_port_that_never_opens_is_named_and_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hearing, "OPENING_S", 0.0)
    done: list[str] = []

    class Stuck(SimulatedTransport):
        async def open(self) -> None:
            await asyncio.Event().wait()

        async def close(self) -> None:
            done.append("closed")

    with pytest.raises(PortSilent, match="did not open within"):
        await identify("sim://stuck", 0.05, make=Stuck)
    assert done == ["closed"]


async def test_nothing_is_asked_without_leave(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("modbus", "scpi", "polled"):
        monkeypatch.setitem(on_stage, name, Waved(DEVICES[name]))
    found = await asyncio.gather(*(identify(f"sim://{name}", 0.5) for name in ("modbus", "scpi", "polled")))
    assert all(heard.silent and heard.best is None for heard in found)
