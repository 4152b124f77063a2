"""What a typed line means in plain mode: lines for the recorder, words to say, a question. No input, no output."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from drivers.errors import LengthError
from drivers.lengths import Units
from logger.recorder.commands import KINDS, WORDS
from tui.plain.changes import height_words
from tui.plain.reports import HELP, book_lines, status_lines
from tui.walking import entries, plan
from tui.walking.best import Best
from tui.walking.distances import lasted
from tui.walking.doubts import doubt
from tui.walking.suggestion import Suggestion, suggestion, turning_point, zero_check
from tui.walking.telling import called
from tui.walking.walk import Walk

AT_ONCE = {"help", "?", "height", "h", "status", "list", "best", "stop", "cancel", "force", "mute"}
"""Done even while a tag waits for a steady reading, as the recorder does them."""
YES, NO = ("yes", "y"), ("no", "n")
NUMBER_STARTS = "0123456789.,+-"


class Leave(StrEnum):
    """How plain mode is left."""

    RECORDING = "the recorder goes on"
    ENDED = "the session is ended"


@dataclass(frozen=True, slots=True)
class Reply:
    """What one typed line leads to; `words` names the tag that the lines wait for."""

    say: tuple[str, ...] = ()
    ask: tuple[str, ...] = ()
    words: str = ""
    leave: Leave | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """Something that looks like a slip, and what is done on yes."""

    asks: str
    yes: Reply


class Talk:
    """Where the talk stands: a question asked, a guide begun, the tag that waits. `best` is the layout so far."""

    def __init__(self, walk: Walk, *, mute: Callable[[], bool]) -> None:
        self.walk = walk
        self.best: Best | None = None
        self.waiting: Reply | None = None
        self._mute = mute
        self._question: Question | None = None
        self._guide: Suggestion | None = None
        self._own: dict[str, Callable[[str], Reply]] = {
            "take": lambda _: self._take(),
            "station": self._station,
            "zero": lambda _: self._follow(self._zero()),
            "turn": self._turn,
            "moved": lambda _: Reply(ask=("setup",)),
            "undo": lambda _: self._undo(),
            "strike": self._strike,
            "force": self._force,
            "stop": lambda _: Reply(ask=("cancel",)),
            "height": lambda _: Reply((self._height(),)),
            "status": lambda _: Reply(tuple(self._status())),
            "list": lambda rest: Reply(tuple(book_lines(self.walk.rows, self.units, rest))),
            "best": lambda _: Reply((self.best_line() or "No brief: begin with --brief FILE to see the best steps.",)),
            "mute": lambda _: Reply(("Sound is off." if self._mute() else "Sound is on.",)),
            "help": lambda _: Reply(HELP),
            "quit": lambda _: Reply(leave=Leave.RECORDING),
            "end": lambda _: Reply(leave=Leave.ENDED),
        }
        self._own |= {"h": self._own["height"], "?": self._own["help"]}

    @property
    def units(self) -> Units:
        """Units of this session, shown and typed."""
        return self.walk.standing.units if self.walk.standing else Units.METRES

    @property
    def next(self) -> Suggestion | None:
        """What an empty line takes."""
        if self._guide is not None or self.walk.standing is None:
            return self._guide
        return suggestion(self.walk.standing, self.walk.rows, self.units)

    def next_line(self) -> str:
        """What an empty line takes, in words."""
        wanted = self.next
        if wanted is None:
            return ""
        do = f" {wanted.do}" if wanted.do else ""
        return f"Next: {wanted.words}.{do} {'Enter takes it' if wanted.tag else 'Enter when it is done'}."

    def best_line(self) -> str:
        """The best layout so far, empty before there is a brief."""
        return "" if self.best is None else f"Best so far: {plan.best_in_words(self.best, None, self.units)}."

    def done(self) -> None:
        """What was asked for was taken: a guide is at its end."""
        self._guide = None

    def said(self, line: str) -> Reply:
        """Do one typed line."""
        line = line.strip()
        word, _, rest = line.partition(" ")
        word = word.lower()
        if self._question is not None and word not in AT_ONCE:
            question, self._question = self._question, None
            if word in YES:
                return question.yes
            return Reply(("Left: nothing was done.",)) if word in (*NO, "") else self._meant(line, word, rest.strip())
        return self._meant(line, word, rest.strip())

    def _meant(self, line: str, word: str, rest: str) -> Reply:
        if not line:
            return self._take()
        if word in self._own:
            return self._own[word](rest)
        if word in KINDS:
            return self._follow(Suggestion(line, line))
        if word in WORDS and word != "watch":
            return Reply(ask=(line,))
        if line[0] in NUMBER_STARTS:
            return self._station(line)
        return Reply((f"Unknown: {word[:40]!r}. Type help for the words there are.",))

    def _take(self) -> Reply:
        wanted = self.next
        return Reply(("Not ready: the recorder has not answered yet.",)) if wanted is None else self._follow(wanted)

    def _follow(self, wanted: Suggestion) -> Reply:
        tag = Reply(ask=(wanted.command,), words=wanted.words if wanted.tag else "")
        standing, rows = self.walk.standing, self.walk.rows
        if wanted.station_m is not None and standing is not None:
            asks = doubt(wanted.station_m, self.walk.live, rows, surface=standing.surface, units=self.units)
            if asks:
                return self._asked(asks, tag)
        return tag

    def _asked(self, asks: str, yes: Reply) -> Reply:
        self._question = Question(asks, yes)
        return Reply((f"Question: {asks} Type yes or no.",))

    def _station(self, text: str) -> Reply:
        try:
            return self._follow(entries.station(text, self.units))
        except LengthError as error:
            return Reply((f"Refused: {error}",))

    def _zero(self) -> Suggestion:
        assert self.walk.standing is not None
        return zero_check(self.walk.standing, self.walk.rows)

    def _turn(self, name: str) -> Reply:
        """The first of the two steps; the second follows by itself as what comes next."""
        if name:
            return self._follow(Suggestion(f"turn {name}", f"turning point {name}"))
        self._guide = turning_point(self.walk.rows)
        return Reply()

    def _undo(self) -> Reply:
        standing = [r for r in self.walk.rows if not r.struck]
        return self._strike(str(standing[-1].n)) if standing else Reply(("Nothing to undo.",))

    def _strike(self, rest: str) -> Reply:
        number = rest.partition("#")[0].strip()
        row = next((r for r in self.walk.rows if str(r.n) == number), None)
        name = f", {called(row, self.units)}" if row else ""
        return self._asked(f"Strike out no. {number}{name}?", Reply(ask=(f"strike {rest}",)))

    def _force(self, rest: str) -> Reply:
        """The next reading for the tag that waits, else for the one given, else for what is suggested."""
        waits, wanted = self.waiting, self.next
        if waits is not None and waits.words:
            return Reply(ask=("cancel", f"force {waits.ask[-1].removeprefix('force ')}"), words=waits.words)
        if rest:
            return Reply(ask=(f"force {rest}",), words=rest)
        if wanted is None or not wanted.tag:
            return Reply(("Nothing to force: no reading is taken next.",))
        return Reply(ask=(f"force {wanted.command}",), words=wanted.words)

    def _height(self) -> str:
        live, standing = self.walk.live, self.walk.now
        if live is None or standing is None:
            return "Nothing heard from the instrument yet."
        words = height_words(live, standing, self.units)
        if live.stale:
            return f"Stale {words}; {lasted(live.age_s)} old."
        return f"{'Steady' if live.steady else 'Moving'} {words}."

    def _status(self) -> list[str]:
        standing = self.walk.now
        if standing is None:
            return ["Not ready: the recorder has not answered yet."]
        lines = status_lines(standing, self.walk.live, self.walk.rows, self.units)
        return [*lines, *filter(None, (self.best_line(), self.next_line()))]
