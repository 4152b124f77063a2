"""The instrument: port and instrument file, as they were last time or chosen anew, and how the line is doing."""

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType

from drivers.lengths import Units
from tui.actions import Place, bindings
from tui.messages import BookChanged, LinkChanged
from tui.screens.ask import Ask, Choose
from tui.screens.job import JobScreen
from tui.walking import chores
from tui.walking.opening import Opening, new_session
from tui.walking.remembered import Remembered, recall
from tui.walking.said import safe
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.tables import Told

TAPES = {
    "level": "held level, its end plumbed down",
    "taut": "pulled taut along the slope",
    "ground": "laid on the ground",
}
UNITS = {
    "ft-in": "feet, inches and sixteenths",
    "ft": "decimal feet",
    "m": "metres",
    "mm": "millimetres",
}
TYPED = "typed"


class InstrumentScreen(JobScreen):
    """Says what is connected, and begins a session with what is chosen."""

    CSS_PATH = "sessions.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.INSTRUMENT)]
    place = Place.INSTRUMENT

    def __init__(self) -> None:
        super().__init__()
        self._chosen = recall()

    def body(self) -> ComposeResult:
        """What is connected, what is chosen."""
        yield Saying(id="heading")
        yield Told(id="choices")
        yield TakeBar("screen.begin", "ENTER")
        yield Saying(id="said")

    def on_mount(self) -> None:
        """Show both."""
        self._show()

    def on_screen_resume(self) -> None:
        """Back in front."""
        self._show()

    def on_link_changed(self, _: LinkChanged) -> None:
        """The line was lost or is back."""
        self._show()

    def on_book_changed(self, _: BookChanged) -> None:
        """Counts changed."""
        self._show()

    @work(exclusive=True, group="ports")
    async def action_port(self) -> None:
        """Choose a port."""
        from drivers.errors import PortError
        from drivers.ports import plugged_in

        self._say("Looking at what is plugged in …")
        try:
            async with asyncio.timeout(3.0):
                seen = await asyncio.to_thread(plugged_in)
        except (TimeoutError, OSError, PortError):
            seen = []
        self._say("" if seen else "Nothing is plugged in. A port can be typed: socket://…, ble://NAME, replay://FILE.")
        choices = {s.port: f"{s.port}  {safe(s.description, 40)}" for s in seen}
        choices |= {TYPED: "type another: /dev/…, COM5, socket://…, ble://NAME, sim://NAME"}
        self._ask(Choose("Port", choices), self._port)

    def action_instrument(self) -> None:
        """Choose an instrument file."""
        from drivers.instrument import names

        choices = {name: name for name in names()} | {TYPED: "a file of your own: type its path"}
        self._ask(Choose("Instrument", choices), self._instrument)

    def action_tape(self) -> None:
        """How the tape is held."""
        self._ask(Choose("The tape is", TAPES), lambda tape: self._take(tape=tape))

    def action_bare(self) -> None:
        """What a bare number means in a new session."""
        self._ask(Choose("A number without a unit is in", UNITS), lambda units: self._take(units=units))

    @work(exclusive=True, group="ports")
    async def action_listen(self) -> None:
        """Listen to the port for a few seconds and say what it speaks."""
        if not self._chosen.port:
            self._say("Choose a port first (p).", "alarm")
            return
        self._say(f"Listening to {safe(self._chosen.port, 60)} for 6 s; raise and lower the probe …")
        _, said = await chores.run("listen", self._chosen.port, "--seconds", "6")
        self._say(said or "Nothing was heard.")

    def action_begin(self) -> None:
        """Begin a new session with what is chosen."""
        chosen = self._chosen
        if not chosen.port or not chosen.instrument:
            self._say("Choose a port (p) and an instrument (i) first.", "alarm")
            return
        path = new_session(self.desk.folder)
        units, tape = chosen.units or Units.METRES.value, chosen.tape or "level"
        self.desk.begin(Opening(path, chosen.port, chosen.instrument, units=units, tape=tape))

    def _port(self, port: str) -> None:
        if port == TYPED:
            self._ask(Ask("Port", self._chosen.port), lambda typed: self._take(port=typed))
        else:
            self._take(port=port)

    def _instrument(self, name: str) -> None:
        if name == TYPED:
            self._ask(Ask("Path of the instrument file", "", _no_file), lambda path: self._take(instrument=path))
        else:
            self._take(instrument=name)

    def _take(self, **chosen: str) -> None:
        self._chosen = replace(self._chosen, **chosen)
        self._show()

    def _say(self, text: str, style: str = "plain") -> None:
        self.query_one("#said", Saying).show(text, style)

    def _show(self) -> None:
        self.desk.title_tabs(self)
        walk, chosen = self.desk.walk, self._chosen
        standing = walk.standing if walk else None
        if standing is None:
            self.query_one("#heading", Saying).show("No instrument is connected.", "strong")
        else:
            heading = f"{safe(standing.instrument, 40)} on {safe(standing.port, 60)}: {standing.link}"
            self.query_one("#heading", Saying).show(heading, "strong")
        pairs = [] if standing is None else [("session", standing.session), ("refused", _refused(standing.rejects))]
        if standing is not None and standing.why:
            pairs.append(("why", standing.why))
        pairs += _pairs(chosen)
        self.query_one(Told).show(pairs)
        ready = bool(chosen.port and chosen.instrument)
        words = f"new session: {chosen.instrument} on {chosen.port}" if ready else "choose a port and an instrument"
        self.query_one(TakeBar).show(words, "ENTER")


def _refused(count: int) -> str:
    return f"{count} pieces of what was heard" if count else "nothing of what was heard"


def _pairs(chosen: Remembered) -> list[tuple[str, str]]:
    return [
        ("p port", chosen.port or "none chosen"),
        ("i instrument", chosen.instrument or "none chosen"),
        ("t tape", TAPES.get(chosen.tape, TAPES["level"])),
        ("b numbers", UNITS.get(chosen.units, UNITS["m"])),
    ]


def _no_file(path: str) -> str:
    return "" if Path(path).expanduser().is_file() else "there is no such file"
