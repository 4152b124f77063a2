"""Sessions: what was walked before, to go on with, play again, export, verify."""

from itertools import chain, count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType

from logger.errors import CannotWrite, WrongFile
from tui.actions import Place, bindings
from tui.screens.ask import Choose
from tui.screens.job import JobScreen
from tui.walking import chores
from tui.walking.opening import Opening
from tui.walking.said import safe
from tui.walking.shelf import Kept, sessions_in
from tui.walking.wanted import wanted_for
from tui.widgets.bars import Saying, TakeBar
from tui.widgets.tables import Shelf

FORMATS = {
    "csv": "csv: the ground as a table",
    "jsonl": "jsonl: the whole session as text",
    "walk": "walk: a copy in one file",
    "landxml": "landxml: the profile",
    "svg": "svg: the section drawn (with the brief)",
    "dxf": "dxf: the same for drawing programs",
}
WITH_BRIEF = ("svg", "dxf")


class SessionsScreen(JobScreen):
    """Chooses a session."""

    CSS_PATH = "sessions.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(Place.EVERYWHERE), *bindings(Place.SESSIONS)]
    place = Place.SESSIONS

    def body(self) -> ComposeResult:
        """The list, what is chosen, what was said."""
        yield Saying(id="heading")
        yield Shelf(id="shelf")
        yield TakeBar("screen.open", "ENTER")
        yield Saying(id="said")

    def on_mount(self) -> None:
        """Read the folder."""
        self.query_one("#heading", Saying).show(f"Sessions in {self.desk.folder}", "strong")
        self._read()

    def on_screen_resume(self) -> None:
        """Back in front: read it again."""
        self.desk.title_tabs(self)
        self._read()

    def action_row_up(self) -> None:
        """The session above."""
        self._choose(-1)

    def action_row_down(self) -> None:
        """The session below."""
        self._choose(1)

    def action_open(self) -> None:
        """Go on with the chosen session."""
        if (kept := self._chosen()) is not None:
            if kept.path.resolve() == self.desk.session.resolve() and self.desk.walk and not self.desk.walk.gone:
                self.desk.action_go(Place.WALK.value)
            else:
                self.desk.begin(Opening(kept.path))

    def action_replay(self) -> None:
        """Play it again."""
        if (kept := self._chosen()) is not None:
            self.desk.replay(kept.path)

    def action_verify(self) -> None:
        """Check digest chain and bytes."""
        if (kept := self._chosen()) is not None:
            self.say(f"Verifying {kept.path.name} …")
            self._chore(f"{kept.path.name} is what was recorded.", "verify", str(kept.path))

    def action_export(self) -> None:
        """Write it in another format."""
        if (kept := self._chosen()) is not None:
            self._ask(Choose("Export as", FORMATS), lambda form: self._export(kept, form))

    @work(group="chores")
    async def _export(self, kept: Kept, form: str) -> None:
        out = free(kept.path.with_suffix(f".{form}"))
        words = ["export", str(kept.path), "--to", form, str(out)]
        self.say(f"Writing {out.name} …")
        with TemporaryDirectory(prefix="risewalk-") as folder:
            try:
                words += self._with_brief(kept, Path(folder) / "brief.toml") if form in WITH_BRIEF else []
            except (CannotWrite, WrongFile) as error:
                self.say(str(error), "alarm")
                return
            await self._run(f"Written: {out}", *words)

    def _with_brief(self, kept: Kept, path: Path) -> list[str]:
        """The brief as it stands on the screen, or as it is kept beside the session, and the layout chosen."""
        draft = self.desk.draft
        if draft.wanted is not None and kept.path.resolve() == self.desk.session.resolve():
            draft.wanted.write_to(path)
            return ["--brief", str(path), *(["--risers", str(draft.option.risers)] if draft.option else [])]
        wanted_for(kept.path, None, self.desk.units).write_to(path)
        return ["--brief", str(path)]

    @work(group="chores")
    async def _chore(self, done: str, *words: str) -> None:
        await self._run(done, *words)

    async def _run(self, done: str, *words: str) -> None:
        code, said = await chores.run(*words)
        said = said.replace(f"{self.desk.folder}/", "")  # the folder stands above; what is wrong needs the room
        self.say(done if code == 0 else safe(said, 300), "sure" if code == 0 else "alarm")

    @work(thread=False, exclusive=True, group="shelf")
    async def _read(self) -> None:
        import asyncio

        found = await asyncio.to_thread(sessions_in, self.desk.folder)
        if self.query(Shelf):  # the screen may have been left meanwhile
            self.query_one(Shelf).show(found)
            self._show()

    def _choose(self, by: int) -> None:
        self.query_one(Shelf).choose(by)
        self._show()

    def _chosen(self) -> Kept | None:
        return self.query_one(Shelf).chosen

    def _show(self) -> None:
        kept, bar = self._chosen(), self.query_one(TakeBar)
        if kept is None:
            bar.show("no session here yet", "…")
        elif kept.trouble:
            bar.show("this one cannot be opened", "…")
            self.say(kept.trouble, "alarm")
        else:
            bar.show(f"{'back to' if kept.recording else 'go on with'} {kept.path.name}", "ENTER")


def free(path: Path) -> Path:
    """The path, with a number behind its name where there is a file already: nothing is written over."""
    others = (path.with_stem(f"{path.stem}-{number}") for number in count(2))
    return next(each for each in chain([path], others) if not each.exists())
