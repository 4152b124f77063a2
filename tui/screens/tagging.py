"""What screens that observe share: a line sent to the recorder, the wait for a steady reading, what was answered."""

from time import monotonic

from textual import work

from tui.messages import RecorderGone
from tui.screens.job import JobScreen
from tui.sound import Sound
from tui.walking.telling import astray, called, told
from tui.walking.walk import Answer, Walk
from tui.widgets.bars import TakeBar

GONE = "The recorder is gone; what was said to be saved is saved. Leave and walk again."

SURFACE = "surface "
HELD_S = 1.0
"""After a strike the key counts again when it was let go for so long: held down, it strikes out no second one."""


class TaggingScreen(JobScreen):
    """A screen that observes; `answered` and `show_take` say what it does with it."""

    _waiting = ""
    _forcing = False
    _doubted = ""
    _struck_s = 0.0

    @property
    def waiting(self) -> str:
        """What a steady reading is waited for, here or by another client of the recorder."""
        standing = self.walk.standing if self.walk else None
        return self._waiting or (standing.waiting if standing else "")

    @property
    def walk(self) -> Walk | None:
        """The walk shown, None before its recorder is found."""
        return self.desk.walk

    def on_recorder_gone(self, _: RecorderGone) -> None:
        """It ended, or another client ended it."""
        self._waiting = ""
        self.say(GONE, "alarm")
        self.show_take()

    def answered(self, answer: Answer, words: str) -> None:
        """Something was answered to what was sent with these words."""

    def show_take(self) -> None:
        """Say what the take key does now."""

    def send(self, *lines: str, words: str = "") -> None:
        """Send lines one after the other until one is refused; with `words` they take a reading of that name."""
        self._send(lines, words)

    def force(self, *lines: str, words: str) -> None:
        """The same with the next reading; where one is waited for already, that wait ends and takes it."""
        if self._waiting:
            self._forcing = True
            self.send("cancel")
            return
        forced = (line if line.startswith(SURFACE) else f"force {line}" for line in lines)
        self.send(*(["cancel"] if self.waiting else []), *forced, words=words)

    def strike(self, n: int) -> None:
        """Ask first; strike an observation out when it is asked for again."""
        command, now_s = f"strike {n}", monotonic()
        if now_s - self._struck_s < HELD_S:
            self._struck_s = now_s
        elif self._doubted == command:
            self._doubted, self._struck_s = "", now_s
            self.send(command)
        else:
            self._doubted = command
            row = next((r for r in self.walk.rows if r.n == n), None) if self.walk else None
            name = f", {called(row, self.desk.units)}" if row else ""
            self.say(f"Strike out no. {n}{name}? The same key again strikes it; ESC keeps it.", "alarm")

    def action_stop_waiting(self) -> None:
        """End the wait for a steady reading, or withdraw a question."""
        if self.waiting:
            self.send("cancel")
        elif self._doubted:
            self._doubted = ""
            self.say("")

    @work(group="lines")
    async def _send(self, lines: tuple[str, ...], words: str) -> None:
        walk = self.walk
        if walk is None:
            return
        if walk.gone:
            self.say(GONE, "alarm")
            return
        if words:
            self._waiting = words
            self.say(f"Hold still: {words}. F takes it now, ESC stops.")
            self.show_take()
        try:
            answer = await self._answers(walk, lines)
        except ConnectionError:
            self.say(GONE, "alarm")
            return
        finally:
            if self._waiting == words:
                self._waiting = ""
        if answer.get("event") != "observed":  # that was told when it was saved
            self._tell(answer)
        if self.query(TakeBar):  # the screen may have been left meanwhile
            self.answered(answer, words)
            self.show_take()

    async def _answers(self, walk: Walk, lines: tuple[str, ...]) -> Answer:
        """What was answered to the tag among the lines; the surface is set back whatever became of it."""
        told: Answer = {}
        for line in lines:
            if told and not told.get("ok") and not line.startswith(SURFACE):
                continue
            answer = await walk.ask(line, self._tell)
            if self._forcing and answer.get("error") == "cancelled":
                self._forcing = False
                answer = await walk.ask(f"force {line}", self._tell)
            if told.get("event") != "observed" and (not told or told.get("ok")):
                told = answer
        return told

    def _tell(self, answer: Answer) -> None:
        if answer.get("ok"):
            taken = answer.get("event") == "observed"
            rows = self.walk.rows if self.walk else []
            off = taken and any(row.n == answer["n"] and astray(row) for row in rows)
            self.say(told(answer, rows, self.desk.units), "alarm" if off else "sure" if taken else "plain")
            if taken:
                self.desk.sounder.play(Sound.REFUSED if off else Sound.TAKEN)
        elif answer.get("error") != "cancelled":
            self.say(str(answer.get("message") or answer.get("error")), "alarm")
            self.desk.sounder.play(Sound.REFUSED)
