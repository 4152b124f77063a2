"""What screens that observe share: a line sent to the recorder, the wait for a steady reading, what was answered."""

from textual import work

from tui.screens.job import JobScreen
from tui.sound import Sound
from tui.walking.telling import told
from tui.walking.walk import Answer, Walk
from tui.widgets.bars import Saying

GONE = "The recorder is gone; what was said to be saved is saved. Leave and walk again."


class TaggingScreen(JobScreen):
    """A screen that observes; `answered` and `show_take` say what it does with it."""

    waiting = ""

    @property
    def walk(self) -> Walk | None:
        """The walk shown, None before its recorder is found."""
        return self.desk.walk

    def answered(self, answer: Answer, words: str) -> None:
        """Something was answered to what was sent with these words."""

    def show_take(self) -> None:
        """Say what the take key does now."""

    def say(self, text: str, style: str = "plain") -> None:
        """Say something on the last line."""
        self.query_one("#said", Saying).show(text, style)

    def send(self, *lines: str, words: str = "") -> None:
        """Send lines one after the other until one is refused; with `words` they take a reading of that name."""
        self._send(lines, words)

    def force(self, line: str, words: str) -> None:
        """The same tag with the next reading, whether or not it waits already."""
        self._send(((*(["cancel"] if self.waiting else []), f"force {line}")), words)

    def action_stop_waiting(self) -> None:
        """End the wait for a steady reading."""
        if self.waiting:
            self.send("cancel")

    @work(group="lines")
    async def _send(self, lines: tuple[str, ...], words: str) -> None:
        walk = self.walk
        if walk is None:
            return
        if walk.gone:
            self.say(GONE, "alarm")
            return
        if words:
            self.waiting = words
            self.say(f"Hold still: {words}. F takes it now, ESC stops.")
            self.show_take()
        try:
            answer = await walk.ask_each(*lines)
        except ConnectionError:
            self.say(GONE, "alarm")
            return
        finally:
            if self.waiting == words:
                self.waiting = ""
        self._tell(answer)
        self.answered(answer, words)
        self.show_take()

    def _tell(self, answer: Answer) -> None:
        if answer.get("ok"):
            taken = answer.get("event") == "observed"
            rows = self.walk.rows if self.walk else []
            self.say(told(answer, rows, self.desk.units), "sure" if taken else "plain")
            if taken:
                self.desk.sounder.play(Sound.TAKEN)
        elif answer.get("error") != "cancelled":
            self.say(str(answer.get("message") or answer.get("error")), "alarm")
            self.desk.sounder.play(Sound.REFUSED)
