"""The full-screen app: wires the recorder's line to the screens, and nothing else."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from typing import Any, ClassVar

from rich.console import RenderableType
from textual import events
from textual._context import visible_screen_stack
from textual.app import App
from textual.binding import BindingType
from textual.filter import LineFilter
from textual.screen import Screen

from drivers.lengths import Units
from logger.errors import RiseError
from tui.actions import JOB, Action, Place, bindings
from tui.leaving import hold_off, leave_for_sure
from tui.messages import BestSolved, BookChanged, BuiltChecked, LinkChanged, LiveChanged, RecorderGone
from tui.screens import screen_of
from tui.screens.ask import Asking, Choose, Told
from tui.screens.help import Help
from tui.screens.job import Quiet
from tui.sober import Sober
from tui.sound import Sound, Sounder
from tui.themes import DUSK, NOON, THEMES
from tui.walking.best import Best
from tui.walking.doubts import CHECKS
from tui.walking.drafting import Drafting
from tui.walking.opening import Opening, log_path
from tui.walking.remembered import TAPES, Remembered, recall, remember
from tui.walking.said import safe
from tui.walking.verdict import Checked
from tui.walking.walk import Heard, RecorderLine, Walk
from tui.widgets.bars import Tabs

log = logging.getLogger(__name__)
PAINT_S = 0.1
LEAVING = {
    "leave": "Leave. The recorder goes on recording; walk this session again to return.",
    "end": "End the session and leave. The recorder saves, closes and stops.",
    "stay": "Stay.",
}
LOOKING = "Looking for the recorder and the instrument …"
Connect = Callable[[Opening], Awaitable[RecorderLine]]


class RisewalkApp(App[str]):
    """The screens of the job on one walk. It returns what to say once the terminal is back."""

    TITLE = "risewalk"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE)]

    def __init__(
        self,
        opening: Opening | None,
        connect: Connect,
        *,
        brief: Path | None = None,
        player: str = "",
        theme: str = NOON,
    ) -> None:
        super().__init__()
        self.opening = opening
        self.walk: Walk | None = None
        self.draft = Drafting(self._solved, self._checked)
        self.units = Units.METRES
        self.opening_words = LOOKING
        self.sounder = Sounder(self.bell, player=player)
        self._connect = connect
        self._brief = brief
        self._live_changed = False
        for each in THEMES:
            self.register_theme(each)
        self.theme = theme

    @property
    def folder(self) -> Path:
        """Where sessions are kept: beside the one in front, else here."""
        return self.opening.session.resolve().parent if self.opening else Path.cwd()

    @property
    def session(self) -> Path:
        """The file of the session in front, one that does not exist where there is none."""
        standing = self.walk.standing if self.walk else None
        if standing is not None and standing.moved:
            return Path(standing.session)
        return self.opening.session if self.opening else self.folder / "none.walk"

    def get_default_screen(self) -> Screen[None]:
        """The empty one under the first screen."""
        return Quiet()

    async def on_event(self, event: events.Event) -> None:
        """Keys are obeyed one by one in the order typed: the framework's way round through the screen loses some."""
        if not isinstance(event, events.Key) or event.is_forwarded:
            await super().on_event(event)
        elif await self._check_bindings(event.key, priority=True):
            return
        elif isinstance(self.screen, Asking):
            if not self.screen.typed(event):
                await self._check_bindings(event.key)
        elif self.focused is not None or not await self._check_bindings(event.key):
            await super().on_event(event)

    def run(self, *args: Any, **kwargs: Any) -> str | None:
        """Run until left; signals that ask for that are held off before the framework starts its threads."""
        hold_off()
        return super().run(*args, **kwargs)

    def on_mount(self) -> None:
        """Signals, the first screen, the recorder."""
        if not self.is_headless:
            loop = asyncio.get_running_loop()
            leave_for_sure(lambda: loop.call_soon_threadsafe(self.exit, ""))
        self.app_resume_signal.subscribe(self, lambda _: self.screen.refresh(layout=True))
        self.set_interval(PAINT_S, self._paint)
        self.push_screen(screen_of(Place.INSTRUMENT if self.opening is None else Place.WALK)())
        if self.opening is not None:
            self.begin(self.opening)

    async def on_unmount(self) -> None:
        """Leave the recorder to itself."""
        self.draft.end()
        await self.sounder.close()
        if self.walk is not None:
            await self.walk.line.close()

    def _fatal_error(self) -> None:
        """Something nobody foresaw: a short message, the rest in the log file; a recorder goes on."""
        log.error("the screen stopped", exc_info=self._exception)
        recording = self.walk is not None and not self.walk.gone
        again = f" The recorder goes on; back to it: risewalk walk {self.session}." if recording else ""
        words = f"The screen stopped on an error of ours.{again} What happened is in {log_path()}."
        self.exit(words, return_code=1)

    def get_line_filters(self) -> Sequence[LineFilter]:
        """What stands between us and a terminal that has sixteen colours, or shall have none."""
        few = self.console.color_system in (None, "standard")
        if self.is_headless or not (few or self.no_color):
            return super().get_line_filters()
        colours = not self.no_color and self.console.color_system is not None
        return [*super().get_line_filters(), Sober(colours=colours, dark=self.theme == DUSK)]

    def export_screenshot(self, *, title: str | None = None, simplify: bool = False) -> str:
        """A picture of the screen that stands alone."""
        from tui.picture import drawn

        visible_screen_stack.set(self._background_screens)
        return drawn([list(strip) for strip in self.screen._compositor.render_strips()], self.size.width)

    def panic(self, *renderables: RenderableType) -> None:
        """The same for an error in what is drawn."""
        self._fatal_error()

    def begin(self, opening: Opening) -> None:
        """Open a session in place of the one in front; its recorder, if another, goes on."""
        if not opening.tape and opening.port and not opening.session.exists():
            first = recall().tape or "level"
            tapes = {first: TAPES.get(first, first), **TAPES}
            self.push_screen(Choose("A new session. The tape is", tapes), lambda tape: self._tape(opening, tape))
        else:
            self.run_worker(self._attend(opening), name="recorder", group="recorder", exclusive=True)

    def _tape(self, opening: Opening, tape: str | None) -> None:
        self.begin(opening.held(tape or "level"))

    async def _attend(self, opening: Opening) -> None:
        if self.walk is not None:
            await self.walk.line.close()
        self.opening, self.walk, self.opening_words = opening, None, LOOKING
        self.draft.clear()
        self.action_go(Place.WALK.value)
        try:
            line = await self._connect(opening)
        except RiseError as error:
            self.opening_words = "No recorder and no instrument."
            self.action_go(Place.INSTRUMENT.value)
            self.sounder.play(Sound.REFUSED)
            self.push_screen(Told("The session could not be opened", [safe(error, 800)]))
            return
        self.walk = walk = Walk(line, self._heard)
        if opening.port and opening.instrument:
            remember(Remembered(opening.port, opening.instrument, opening.units, opening.tape))
        await walk.attend()

    def replay(self, path: Path) -> None:
        """Play a session again on a screen of its own."""
        from tui.screens.replay import ReplayScreen

        self.push_screen(ReplayScreen(path))

    def _heard(self, heard: Heard) -> None:
        match heard:
            case Heard.READING:
                self._live_changed = True
            case Heard.BOOK:
                self._book_changed()
            case Heard.LINK:
                walk = self.walk
                if walk is not None and walk.standing is not None and walk.standing.link == "lost":
                    self.sounder.play(Sound.LINK_LOST)
                self._tell(LinkChanged())
            case Heard.GONE:
                self.sounder.play(Sound.LINK_LOST)
                self._tell(RecorderGone())

    def _book_changed(self) -> None:
        walk = self.walk
        if walk is None or walk.standing is None:
            return
        if self.draft.wanted is None:
            self.units = walk.standing.units
            if wrong := self.draft.begin(self.session, self._brief, self.units):
                self.notify(safe(wrong), severity="error", markup=False, timeout=20)
            if not walk.rows:
                self.push_screen(Told("Before the first reading", list(CHECKS)))
        self.draft.observed(walk.standing.observations, walk.standing.struck)
        self._tell(BookChanged())

    def _solved(self, best: Best) -> None:
        self.post_message(BestSolved(best))

    def _checked(self, result: Checked) -> None:
        self.post_message(BuiltChecked(result))

    def on_built_checked(self, checked: BuiltChecked) -> None:
        """Show it where it is looked at."""
        for screen in self.screen_stack:
            screen.post_message(BuiltChecked(checked.checked))

    def on_best_solved(self, solved: BestSolved) -> None:
        """Keep it for every screen."""
        self.draft.keep(solved.best)
        for screen in self.screen_stack:
            screen.post_message(BestSolved(solved.best))

    def _paint(self) -> None:
        walk = self.walk
        if self._live_changed or (walk is not None and walk.live is not None and walk.live.age_s > 2 * PAINT_S):
            self._live_changed = False
            self._tell(LiveChanged())

    def _tell(self, message: LiveChanged | BookChanged | LinkChanged | RecorderGone) -> None:
        for screen in self.screen_stack:
            screen.post_message(type(message)())

    def title_tabs(self, screen: Screen[None]) -> None:
        """Name the job on the tabs."""
        walk = getattr(screen, "walk", self.walk)
        standing = walk.standing if walk else None
        name = standing.job if standing and standing.job else self.session.stem if self.opening else "no session"
        screen.query_one(Tabs).show(name)

    def action_go(self, name: str) -> None:
        """Go to a screen of the job."""
        place = Place(name)
        here = getattr(self.screen, "place", None)
        if self.screen.is_modal or here is place:
            return
        if here is Place.REPLAY:  # it lies over the screen it was called from
            self.pop_screen()
        if here is not place:
            self.switch_screen(screen_of(place)())

    def action_next_screen(self) -> None:
        """The next screen of the job."""
        self._step(1)

    def action_last_screen(self) -> None:
        """The screen before."""
        self._step(-1)

    def _step(self, by: int) -> None:
        here = getattr(self.screen, "tab", None)
        if here is not None:
            self.action_go(JOB[(JOB.index(here) + by) % len(JOB)].value)

    def action_units(self) -> None:
        """The next way to show lengths."""
        every = list(Units)
        self.units = every[(every.index(self.units) + 1) % len(every)]
        self._tell(LiveChanged())
        self._tell(BookChanged())

    def action_sun(self) -> None:
        """The other theme."""
        self.theme = DUSK if self.theme == NOON else NOON

    def action_hush(self) -> None:
        """Sound off, or on."""
        self.sounder.mute = not self.sounder.mute

    def action_explain(self) -> None:
        """List all keys of this screen."""
        if (place := getattr(self.screen, "place", None)) is not None:
            self.push_screen(Help(place), self._chosen_in_help)

    def action_command_palette(self) -> None:
        """Find an action of this screen by its words."""
        if (place := getattr(self.screen, "place", None)) is not None:
            from tui.screens.palette import Palette

            self.push_screen(Palette(place), self._found)

    async def _found(self, target: str | None) -> None:
        if target is not None:
            await self.screen.run_action(target)

    async def _chosen_in_help(self, action: Action | None) -> None:
        await self._found(action.target if action else None)

    def action_leave(self) -> None:
        """Ask whether the recording goes on."""
        if self.walk is None or self.walk.gone:
            self.exit("")
        elif not isinstance(self.screen, Choose):
            self.push_screen(Choose("Leave the screen?", LEAVING), self._left)

    def _left(self, choice: str | None) -> None:
        if choice == "leave":
            self.exit(f"The recorder goes on. Back to it: risewalk walk {self.session}")
        elif choice == "end":
            self.run_worker(self._end(), exit_on_error=False)

    async def _end(self) -> None:
        if self.walk is not None:
            answer = await self.walk.ask("end")
            said = "The session is saved and closed." if answer.get("ok") else str(answer.get("message"))
            self.exit(f"{said} {self.session}")
