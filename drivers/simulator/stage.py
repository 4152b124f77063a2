"""What a person may tell a virtual instrument, one command a line: moves of the probe, the cable, faults."""

from typing import Any

from drivers.errors import LengthError
from drivers.lengths import length_m
from drivers.quantities import quantity
from drivers.scale import FARTHEST_M, celsius
from drivers.simulator.faults import Fault
from drivers.simulator.players import Player

COMMANDS = ("at", "point", "shift", "unplug", "replug", "noise", "drift", "temperature", "fault", "quit")
WEATHER_C = (-60.0, 100.0)
"""What every protocol has room for."""


class Stage:
    """Carries out commands on a player; each is answered by a dict with `ok`."""

    def __init__(self, player: Player) -> None:
        self._player = player
        self._named: dict[str, float] = {}
        self.ended = False

    def command(self, line: str) -> dict[str, Any]:
        """Do one command; what is wrong with it is answered, not raised."""
        word, _, rest = line.strip().partition(" ")
        if word not in COMMANDS:
            known = ", ".join(COMMANDS)
            return {"ok": False, "error": "unknown_command", "message": f"no command {word!r}; there are {known}"}
        act = getattr(self, f"_{word}")
        try:
            with self._player.lock:
                return {"ok": True, "did": word, **act(rest.strip())}
        except LengthError as error:
            return {"ok": False, "error": "bad_length", "message": str(error)}
        except ValueError as error:
            return {"ok": False, "error": "bad_value", "message": str(error)}

    def _at(self, text: str) -> dict[str, Any]:
        station_m = length_m(text)
        height_m = self._player.virtual.hose.at(station_m, self._player.clock())
        return {"station_m": station_m, "height_m": height_m}

    def _point(self, text: str) -> dict[str, Any]:
        name, _, height = text.partition(" ")
        if not name:
            raise ValueError("name the point, then its height: point BM 0.35")
        if height.strip():
            self._named[name] = _on_earth(height)
        elif name not in self._named:
            raise ValueError(f"the height of {name} is not known yet; write point {name} HEIGHT")
        self._player.virtual.hose.put(self._named[name], self._player.clock())
        return {"name": name, "height_m": self._named[name]}

    def _shift(self, _: str) -> dict[str, Any]:
        return {"moved_m": self._player.virtual.hose.shift(self._player.clock())}

    def _unplug(self, _: str) -> dict[str, Any]:
        self._player.unplug()
        return {}

    def _replug(self, _: str) -> dict[str, Any]:
        self._player.plug()
        return {"port": self._player.port}

    def _noise(self, text: str) -> dict[str, Any]:
        noise_m = abs(_on_earth(text))
        self._player.virtual.hose.change(noise_m=noise_m)
        return {"noise_m": noise_m}

    def _drift(self, text: str) -> dict[str, Any]:
        drift_m = _on_earth(text.removesuffix("per h").removesuffix("/h"))
        self._player.virtual.hose.change(drift_m_per_h=drift_m)
        return {"drift_m_per_h": drift_m}

    def _temperature(self, text: str) -> dict[str, Any]:
        value = celsius(text)
        if not WEATHER_C[0] <= value <= WEATHER_C[1]:
            raise ValueError(f"a temperature lies between {WEATHER_C[0]:g} and {WEATHER_C[1]:g} C, not at {value:g} C")
        self._player.virtual.hose.change(temperature_c=value)
        return {"temperature_c": value}

    def _fault(self, text: str) -> dict[str, Any]:
        kind, _, chance = text.partition(" ")
        if kind not in list(Fault):
            raise ValueError(f"no fault {kind!r}; there are {', '.join(Fault)}")
        share = quantity(chance or "1", "dimensionless")
        self._player.virtual.faults.set(Fault(kind), share)
        return {"fault": kind, "chance": share}

    def _quit(self, _: str) -> dict[str, Any]:
        self.ended = True
        return {}


def _on_earth(text: str) -> float:
    """A length in metres that every protocol has room for."""
    value = length_m(text)
    if abs(value) > FARTHEST_M:
        raise LengthError(text, "that is farther than anything on earth")
    return value
