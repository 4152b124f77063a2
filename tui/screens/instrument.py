"""The instrument: port and instrument file, as they were last time or chosen anew, and how the line is doing."""

import asyncio
from dataclasses import replace
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType

from drivers.lengths import Units
from logger.errors import CannotWrite
from tui.actions import Place, bindings
from tui.messages import BookChanged, LinkChanged
from tui.screens.ask import Ask, Choose
from tui.screens.job import JobScreen
from tui.walking import finding
from tui.walking.opening import Opening, new_session
from tui.walking.remembered import TAPES, Remembered, recall
from tui.walking.said import safe
from tui.walking.shelf import sessions_in
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.tables import Told

UNITS = {
    "ft-in": "feet, inches and sixteenths",
    "ft": "decimal feet",
    "m": "metres",
    "mm": "millimetres",
}
TYPED, AIR = "typed", "air"
WAYS = {"1": "Keep it: the height grows when the probe goes up", "-1": "Keep it: the height shrinks when it goes up"}


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
        """Show both; what could not be opened is what is chosen."""
        opening = self._failed
        if opening is not None:
            told = {name: getattr(opening, name) for name in ("port", "instrument", "units", "tape")}
            self._chosen = replace(self._chosen, **{name: value for name, value in told.items() if value})
        self._show()
        self._look_for_recorders()

    def on_screen_resume(self) -> None:
        """Back in front."""
        self._show()

    def on_link_changed(self, _: LinkChanged) -> None:
        """The line was lost or is back."""
        self._show()

    def on_book_changed(self, _: BookChanged) -> None:
        """Counts changed."""
        self._show()

    @property
    def _failed(self) -> Opening | None:
        """The session that was to be opened and could not."""
        return self.desk.opening if self.desk.walk is None else None

    @work(exclusive=True, group="recorders")
    async def _look_for_recorders(self) -> None:
        """Say where a recorder is at work already: it holds its port."""
        if self.desk.walk is not None:
            return
        kept = await asyncio.to_thread(sessions_in, self.desk.folder)
        names = [each.path.name for each in kept if each.recording]
        if names:
            self.say(f"{', '.join(names[:3])} is being recorded: go on with it from the sessions.")

    @work(exclusive=True, group="ports")
    async def action_port(self) -> None:
        """Choose a port."""
        self.say("Looking at what is plugged in …")
        seen = await finding.ports()
        self.say("" if seen else "Nothing is plugged in.")
        choices = {port: f"{port}  {description}" for port, description in seen.items()}
        choices |= {AIR: "search for Bluetooth instruments", TYPED: "type it: /dev/…, COM5, socket://…, ble://NAME"}
        self._ask(Choose("Port", choices), self._port)

    @work(exclusive=True, group="ports")
    async def _search(self) -> None:
        self.say(f"Searching for {finding.ADVERTISING_S} s …")
        found, trouble = await finding.advertising()
        self.say(trouble)
        if found:
            choices = {port: f"{port}  {name}" for port, name in found.items()}
            self._ask(Choose("Bluetooth instruments, the nearest first", choices), lambda port: self._take(port=port))

    @work(exclusive=True, group="ports")
    async def action_instrument(self) -> None:
        """Choose an instrument file."""
        known = await asyncio.to_thread(finding.instruments)
        choices = {name: f"{name}  {title}" for name, title in known.items()}
        self._ask(Choose("Instrument", choices | {TYPED: "a file of your own: type its path"}), self._instrument)

    def action_tape(self) -> None:
        """How the tape is held."""
        self._ask(Choose("The tape is", TAPES), lambda tape: self._take(tape=tape))

    def action_bare(self) -> None:
        """What a bare number means in a new session."""
        self._ask(Choose("A number without a unit is in", UNITS), lambda units: self._take(units=units))

    @work(exclusive=True, group="ports")
    async def action_listen(self) -> None:
        """Listen to the port for a few seconds, and keep what it seems to be as an instrument file."""
        if not self._chosen.port:
            self.say("Choose a port first (p).", "alarm")
            return
        self.say(f"Listening for {finding.LISTEN_S} s; raise and lower the probe …")
        heard = await finding.listened(self._chosen.port)
        self.say(heard.words)
        if (proposal := heard.proposal) is not None:

            def named(way: str) -> None:
                ask = Ask("Name to keep it under", "my-level", finding.wrong_file_name)
                self._ask(ask, lambda name: self._keep(name, proposal, int(way)))

            self._ask(Choose(heard.words, WAYS), named)

    def _keep(self, name: str, proposal: "finding.Tables", up: int) -> None:
        try:
            finding.keep(name, proposal, up=up)
        except CannotWrite as error:
            self.say(str(error), "alarm")
        else:
            self._take(instrument=name)
            self.say(f"Kept as {name}.", "sure")

    def action_begin(self) -> None:
        """Begin a new session with what is chosen, or try again to open the one that could not be."""
        chosen, failed = self._chosen, self._failed
        if not self._ready:
            self.say("Choose a port (p) and an instrument (i) first.", "alarm")
            return
        path = failed.session if failed else new_session(self.desk.folder)
        units, tape = chosen.units or Units.METRES.value, chosen.tape or "level"
        job = failed.job if failed else ""
        self.desk.begin(Opening(path, chosen.port, chosen.instrument, job=job, units=units, tape=tape))

    @property
    def _ready(self) -> bool:
        return bool(self._chosen.port and self._chosen.instrument)

    def _port(self, port: str) -> None:
        if port == TYPED:
            self._ask(Ask("Port", self._chosen.port), lambda typed: self._take(port=typed))
        elif port == AIR:
            self._search()
        else:
            self._take(port=port)

    def _instrument(self, name: str) -> None:
        if name == TYPED:
            self._ask(Ask("Path of the instrument file", "", _no_file), lambda path: self._take(instrument=path))
        else:
            self._take(instrument=name)

    def _take(self, **chosen: str) -> None:
        self._chosen = replace(self._chosen, **chosen)
        self.say("")
        self._show()

    def _show(self) -> None:
        self.desk.title_tabs(self)
        walk, chosen = self.desk.walk, self._chosen
        standing = walk.standing if walk else None
        heading, pairs = "No instrument is connected.", list[tuple[str, str]]()
        if standing is not None:
            heading = f"{safe(standing.instrument, 40)} on {safe(standing.port, 60)}: {standing.link}"
            pairs = [("session", standing.session), ("refused", _refused(standing.rejects))]
            pairs += [("why", standing.why)] if standing.why else []
            pairs += [("mind", remark) for remark in standing.remarks]
        self.query_one("#heading", Saying).show(heading, "strong")
        self.query_one(Told).show(pairs + _pairs(chosen), TAPPED)
        what = f"try {self._failed.session.name} again" if self._failed else "new session"
        words = f"{what}: {chosen.instrument} on {chosen.port}" if self._ready else "choose a port and an instrument"
        self.query_one(TakeBar).show(words, "ENTER")


def _refused(count: int) -> str:
    return f"{count} pieces of what was heard" if count else "nothing of what was heard"


TAPPED = {
    "p port": "screen.port",
    "i instrument": "screen.instrument",
    "t tape": "screen.tape",
    "b numbers": "screen.bare",
}
"""What a tap on a line does."""


def _pairs(chosen: Remembered) -> list[tuple[str, str]]:
    port, instrument = chosen.port or "none chosen", chosen.instrument or "none chosen"
    values = (port, instrument, TAPES.get(chosen.tape, TAPES["level"]), UNITS.get(chosen.units, UNITS["m"]))
    return list(zip(TAPPED, values, strict=True))


def _no_file(path: str) -> str:
    return "" if Path(path).expanduser().is_file() else "there is no such file"
