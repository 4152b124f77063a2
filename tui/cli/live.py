"""Live set-out in a terminal: a client of the recorder that turns what the instrument shows into words.

One line of input, one thing done; `Talk` knows the words, `Guided` moves the lines. What is taken is kept in the
session by the recorder, under the riser it belongs to.
"""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from drivers.lengths import Units, show_length
from logger.errors import Refused
from logger.guidance import BELLS, Guide, Level, Say, Told, Way, ZeroWatch, targets
from tui.cli import OK, printable
from tui.plain.streams import typed

if TYPE_CHECKING:
    from pathlib import Path

    from logger.recorder.client import Client
    from tui.cli.plan import Plan
    from tui.walking.opening import Opening

ENDS_WITHIN_S = 10.0
PLACE = ("kind", "name", "riser", "place", "station_m", "offset_m", "surface")
"""What makes two observations those of one place."""
RECHECK_S, REMIND_S = 3600.0, 120.0
"""The zero is asked for again once it is so old, and asked for again while it is not observed; common practice."""
Saying = Callable[[dict[str, Any]], None]
QUIET = 10
"""The same word is said again after so many readings, about a second."""
HEIGHTS = {
    "finished": Level.FINISHED,
    "base": Level.BASE_TOP,
    "course": Level.COURSE,
    "subgrade": Level.SUBGRADE,
    "crossing": Level.CROSSING,
}
HELP = (
    f"Enter takes and goes on; next, back, riser K [front|back|course N], height {'|'.join(HEIGHTS)}, "
    "zero NAME, foot (the walk below riser 1), quit"
)


@dataclass(frozen=True, slots=True)
class Reply:
    """What one line of input leads to: words for the user, lines for the recorder, whether to go on or to end."""

    words: str = ""
    ask: tuple[str, ...] = ()
    forward: bool = False
    end: bool = False


class Talk:
    """Where the user stands in the set-out, and what to say for each reading; no input or output."""

    def __init__(self, plan: "Plan", level: Level, units: Units, tolerance_m: float) -> None:
        from logger.setout import set_out

        self.ground = plan.profile.ground()
        self.marks = set_out(plan.profile, plan.option, plan.brief)
        self.units, self.tolerance_m = units, tolerance_m
        self.level, self.at, self._since = level, 0, QUIET
        self.targets = targets(self.marks, level, self.ground)
        self._said: Say | None = None
        self.guide = self._guide()

    def _guide(self) -> Guide:
        if not self.targets:
            raise Refused("no_height", f"the brief gives no {self.level.value}: add its layers")
        way = Way.FIND if self.level is Level.CROSSING else Way.CHECK
        self._since = QUIET
        return Guide(self.targets[self.at], way, self.tolerance_m)

    def where(self) -> str:
        """The mark in front, in words."""
        from logger.setout import tape_at

        mark = self.guide.target
        tape = show_length(tape_at(mark.station_m, self.ground, self.marks.tape), self.units)
        height = show_length(mark.height_m, self.units)
        return f"riser {mark.riser}, {mark.place}: {mark.level.value} {height} above zero, tape {tape}"

    def heard(self, reading: dict[str, Any]) -> Told | None:
        """What to say for a reading of the recorder, None while nothing new is to be said."""
        above = reading["above_zero_m"]
        if above is None:
            told = Told(Say.ZERO, 0.0, None, 3 if self._said is not Say.ZERO else 0)
        else:
            told = self.guide.heard(above, steady=bool(reading["steady"]))
        self._since += 1
        if told.say is self._said and self._since < QUIET:
            return None
        self._said, self._since = told.say, 0
        return told

    def said(self, line: str) -> Reply:
        """Do one line of input."""
        word, *rest = line.split() or [""]
        match word, rest:
            case "" | "take", []:
                return Reply(ask=self._tags(), forward=True)
            case "next" | "back", []:
                return self._go(self.at + (1 if word == "next" else -1))
            case "riser", [number, *place] if number.isdecimal():
                return self._find(int(number), " ".join(place) or None)
            case "height", [name] if name in HEIGHTS:
                self.level, self.at = HEIGHTS[name], 0
                self.targets = targets(self.marks, self.level, self.ground)
                self.guide = self._guide()
                return Reply(self.where())
            case "foot", []:
                return Reply(ask=("built 0 back",))
            case "zero", [name]:
                return Reply(ask=(f"benchmark {name}",))
            case "quit", []:
                return Reply(end=True)
            case _:
                return Reply(HELP)

    def answered(self, answer: dict[str, Any]) -> str:
        """What came of a tag: how it stands to the mark in front, where it was taken there."""
        if not answer.get("ok"):
            return f"not taken: {answer.get('message', answer.get('error'))}"
        above, words = answer["above_zero_m"], show_length(answer["above_zero_m"], self.units)
        if answer.get("kind") == "benchmark" or answer.get("riser") == 0 or self.level is Level.CROSSING:
            return f"taken, {words} above zero"
        off = above - self.guide.target.height_m
        if abs(off) <= self.tolerance_m:
            return f"taken, {words} above zero: {Say.ON_GRADE.value}"
        return f"taken, {words} above zero: {show_length(abs(off), self.units)} too {'high' if off > 0 else 'low'}"

    def forward(self) -> Reply:
        """Go on to the next mark after one was taken."""
        return self._go(self.at + 1)

    def _go(self, at: int) -> Reply:
        if not 0 <= at < len(self.targets):
            return Reply("that was the last mark" if at > 0 else "this is the first mark")
        self.at, self.guide = at, Guide(self.targets[at], self.guide.way, self.tolerance_m)
        self._said, self._since = None, QUIET
        return Reply(self.where())

    def _find(self, riser: int, place: str | None) -> Reply:
        for i, target in enumerate(self.targets):
            if target.riser == riser and place in (None, target.place):
                return self._go(i)
        return Reply(f"no {self.level.value} at riser {riser}{f', {place}' if place else ''}")

    def _tags(self) -> tuple[str, ...]:
        """How the recorder keeps what was found at the mark in front."""
        from logger.setout import tape_at
        from tui.walking.marking import lines_at

        mark = self.guide.target
        return lines_at(mark, tape_at(mark.station_m, self.ground, self.marks.tape))


class Guided:
    """One guidance on a running recorder: readings in, words out, until the input ends or `quit`."""

    def __init__(self, talk: Talk, client: "Client", say: Saying, *, building: bool = True) -> None:
        self.talk, self.client, self.say, self.building = talk, client, say, building
        self.zero = ZeroWatch(RECHECK_S)
        self._reminded_s, self._down = float("-inf"), False

    async def run(self) -> None:
        """Guide; Refused where the recorder ends first."""
        self.say({"event": "mark", "words": self.talk.where()})
        await self._look_at_the_zero()
        await self.client.ask("watch on")
        listening = asyncio.create_task(self._listen())
        typing = asyncio.create_task(self._type())
        try:
            await asyncio.wait((listening, typing), return_when=asyncio.FIRST_COMPLETED)
            await (typing if typing.done() else listening)
        finally:
            for task in (listening, typing):
                task.cancel()
            await asyncio.gather(listening, typing, return_exceptions=True)

    async def _look_at_the_zero(self) -> None:
        """How old the zero is that the recorder counts from."""
        zero = (await self.client.ask("status")).get("zero")
        if zero is not None:
            self.zero.observed(asyncio.get_running_loop().time() - zero["age_s"])

    async def _listen(self) -> None:
        async for event in self.client.events():
            if event.get("event") == "reading":
                self._remind(event["above_zero_m"])
                self._guide(event)
            elif event.get("event") == "link":
                self._heard_of(event["link"], str(event.get("why") or ""))
        raise Refused("recorder_gone", "the recorder ended; run the command again to go on")

    def _heard_of(self, link: str, why: str) -> None:
        """Say once that the line is down, and once that it is back; heights then wait for the zero."""
        down = link != "live"
        if down is not self._down:
            words = f"no line to the instrument: {why or link}; waiting for it" if down else "the line is back"
            self.say({"event": "link", "link": link, "bell": BELLS[Say.ZERO] if down else 0, "words": words})
        self._down = down

    def _remind(self, above_zero_m: float | None) -> None:
        """Ask for the zero again once it is old; without any, the guidance itself says so."""
        now_s = asyncio.get_running_loop().time()
        if above_zero_m is None:
            self.zero.link_lost()
        elif self.zero.due(now_s) and now_s - self._reminded_s >= REMIND_S:
            self._reminded_s = now_s
            words = f"{Say.ZERO.value} again: it is more than {RECHECK_S / 60:.0f} minutes old"
            self.say({"event": "zero_due", "bell": BELLS[Say.ZERO], "words": words})

    def _guide(self, reading: dict[str, Any]) -> None:
        told, mark = self.talk.heard(reading), self.talk.guide.target
        if told is not None:
            self.say(
                {
                    "event": "guidance",
                    "riser": mark.riser,
                    "place": mark.place,
                    "level": mark.level.value,
                    "say": told.say.value,
                    "by_m": told.by_m,
                    "go_m": told.go_m,
                    "bell": told.bell,
                    "words": told.words(self.talk.units),
                }
            )

    async def _strike_what_moved(self, answer: dict[str, Any]) -> None:
        """Strike what was taken at this place before the work there was moved; what agrees stays beside it."""
        from tui.walking.marking import TAKEN_AGAIN

        rows = (await self.client.ask("list")).get("observations", [])
        same = [answer.get(key) for key in PLACE]
        for row in rows:
            standing = row["n"] < answer["n"] and not row["struck"] and [row.get(key) for key in PLACE] == same
            apart = abs(row["above_zero_m"] - answer["above_zero_m"]) if standing else 0.0
            if apart > self.talk.tolerance_m:
                struck = await self.client.ask(f"strike {row['n']} # {TAKEN_AGAIN}")
                off = show_length(apart, self.talk.units)
                words = f"no. {row['n']} of the same place, {off} off, is struck out"
                self.say({"event": "struck", "words": words, "answer": struck})

    async def _type(self) -> None:
        async for line in typed():
            reply = self.talk.said(line)
            if reply.end:
                return
            await self._do(reply)

    async def _do(self, reply: Reply) -> None:
        taken = True
        for line in reply.ask:
            answer = await self.client.ask(line)
            taken = taken and bool(answer.get("ok"))
            if answer.get("event") == "observed" or not answer.get("ok"):
                self.say({"event": "taken", "words": self.talk.answered(answer), "answer": answer})
            if answer.get("kind") == "benchmark":
                await self._look_at_the_zero()
            elif answer.get("event") == "observed" and self.building:
                await self._strike_what_moved(answer)
        if reply.words:
            self.say({"event": "mark", "words": reply.words})
        if reply.forward and taken:
            self.say({"event": "mark", "words": self.talk.forward().words})


async def run(opening: "Opening", talk: Talk, say: Saying, *, building: bool) -> int:
    """Attach to the recorder of a session or start one; one that was started here ends here.

    The exit code: that of a recorder that could not start, so that a missing port is told from a wrong file.
    """
    from logger.recorder.client import attach
    from tui.walking.opening import NotStarted, connected, start

    client = await attach(opening.session)
    started = None if client is not None else start(opening.record_command())
    try:
        client = client or await connected(opening, started)
    except NotStarted as error:
        say({"event": "refused", "words": str(error)})
        return error.code
    try:
        await Guided(talk, client, say, building=building).run()
        if started is not None:
            await client.ask("end")
            started.process.wait(ENDS_WITHIN_S)
    finally:
        await client.close()
    return OK


def guide(
    plan: "Plan",
    file: "Path",
    given: Mapping[str, Any],
    *,
    level: Level,
    tolerance_m: float,
    as_json: bool,
    building: bool,
) -> int:
    """Guide to each mark of a layout until the input ends, and keep what was found in the session.

    While building, what is taken again after the work was moved counts alone; finished steps do not move.
    """
    from tui.cli.output import emit_json
    from tui.walking.opening import Opening

    def say(told: dict[str, Any]) -> None:
        if as_json:
            emit_json(told, line=True)
        else:
            # The bell goes where the terminal obeys it: what stands on stdout is words alone.
            click.echo("\a" * (told.get("bell") or 0), nl=False, err=True)
            click.echo(printable(told["words"]))

    talk = Talk(plan, level, plan.units, tolerance_m)
    opening = Opening(file, port=given["port"], instrument=given["instrument"], units=plan.units.value)
    click.echo(HELP, err=True)
    return asyncio.run(run(opening, talk, say, building=building))
