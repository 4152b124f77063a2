"""What screens that observe share: a line sent to the recorder, the wait for a steady reading, what was answered."""

from textual import work

from drivers.lengths import Units
from tui.screens.job import JobScreen
from tui.sound import Sound
from tui.walking.distances import give_or_take, height
from tui.walking.said import safe
from tui.walking.standing import COVERAGE
from tui.walking.walk import Answer, Walk
from tui.widgets.bars import Saying
from tui.widgets.book import called
from tui.widgets.gauges import clock_time

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
        answer: Answer = {}
        try:
            for line in lines:
                answer = await walk.ask(line)
                if line != "cancel" and not answer.get("ok"):
                    break
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
            self.say(self._told(answer, self.desk.units), "sure" if taken else "plain")
            if taken:
                self.desk.sounder.play(Sound.TAKEN)
        elif answer.get("error") != "cancelled":
            self.say(str(answer.get("message") or answer.get("error")), "alarm")
            self.desk.sounder.play(Sound.REFUSED)

    def _told(self, answer: Answer, units: Units) -> str:
        match answer.get("event"):
            case "observed":
                row = next((r for r in self.walk.rows if r.n == answer["n"]), None) if self.walk else None
                if row is None or row.kind == "face":
                    return "Taken and saved."
                value = f"{height(row.above_zero_m, units)} {give_or_take(COVERAGE * row.u_m, units)}"
                off = "" if row.misclosure_m is None else f", off {height(row.misclosure_m, units)}"
                return f"Taken and saved {clock_time(row.at)}: {called(row, units)}, {value}{off}"
            case "struck":
                return f"No. {answer.get('n')} is struck out; it stays in the book."
            case "setup":
                return "A new setup begins; nothing counts before a known mark is observed."
            case "cancelled":
                return "Stopped; nothing was taken."
            case "noted":
                return f"Noted: {safe(answer.get('text'), 60)}"
            case "surface":
                return f"The next stations are on: {safe(answer.get('surface'), 20)}"
            case "rod":
                return f"The probe stands on a stick of {height(float(answer.get('rod_m') or 0.0), units)}"
            case other:
                return safe(other)
