"""Plain mode at work: readings and typed lines in, full lines out; the recorder is only spoken to and outlives it."""

import asyncio
import contextlib
import os
import signal
import time
from collections.abc import Awaitable, Callable, Coroutine
from pathlib import Path
from shlex import quote
from typing import Any

from logger.errors import Refused
from tui.cli import OK, OUT_OF_TOLERANCE
from tui.plain.changes import Changes
from tui.plain.news import News
from tui.plain.streams import STDIN, STDOUT, Voice, typed
from tui.plain.talk import AT_ONCE, Leave, Reply, Talk
from tui.sound import Sound, Sounder
from tui.walking.opening import NotStarted, Opening, connected
from tui.walking.said import safe
from tui.walking.telling import told
from tui.walking.walk import Answer, Heard, RecorderLine, Walk

LOOKS_EVERY_S = 0.2
LONGEST = 400
SIGNALS = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
TAPES = ("level", "taut", "ground")
NO_MORE = "recorder_gone"
Connect = Callable[[Opening], Awaitable[RecorderLine]]


class Desk:
    """One walk in plain mode; whatever ends it leaves the recorder going, but for the word `end`."""

    def __init__(
        self, opening: Opening, connect: Connect, *, player: str = "", ends: tuple[int, int] = (STDIN, STDOUT)
    ):
        self._opening, self._connect = opening, connect
        self._loop = asyncio.get_running_loop()
        self._over = asyncio.Event()
        self._typed = typed(ends[0])
        self._terminal = os.isatty(ends[0])
        self._voice = Voice(self._unheard, ends[1])
        self._sounder = Sounder(self._voice.ring, player=player)
        self._lines: asyncio.Queue[str | None] = asyncio.Queue()
        self._aside: set[asyncio.Task[None]] = set()
        self._busy = 0
        self._leaving = self._attached = False

    def say(self, line: str) -> None:
        """One line, with nothing in it that a terminal would obey."""
        self._voice.say(safe(line, LONGEST))

    async def run(self, brief: Path | None = None) -> None:
        """Attend recorder and keyboard until one of them ends it; Refused where there is no recorder, or none left."""
        for number in SIGNALS:
            self._loop.add_signal_handler(number, self._over.set)
        try:
            await self._first_done(self._walk(brief), self._until_over())
        except Refused as error:
            self.say(f"{'Gone' if error.error == NO_MORE else 'Refused'}: {error}")
            raise
        finally:
            await self._sounder.close()
            for number in SIGNALS:
                self._loop.remove_signal_handler(number)
            self._voice.close()

    async def _first_done(self, *parts: Coroutine[Any, Any, None]) -> None:
        """Run them side by side; with the first that is done all are, and what it raised is raised."""
        tasks = [asyncio.create_task(part) for part in parts]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                await task
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _until_over(self) -> None:
        await self._over.wait()
        self._leave_recording()

    def _unheard(self) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended already
            self._loop.call_soon_threadsafe(self._over.set)

    def _leave_recording(self) -> None:
        left = "Left: the recorder goes on." if self._attached else "Left."
        self.say(f"{left} Back to it: risewalk walk --plain {quote(str(self._opening.session))}")

    async def _walk(self, brief: Path | None) -> None:
        opening = await self._held()
        self.say("Looking for the recorder and the instrument.")
        line = await self._connect(opening)
        self._attached = True
        self.walk = Walk(line, self._heard)
        self.talk = Talk(self.walk, mute=self._mute)
        self.news = News(self.talk, self.say, opening.session, brief)
        try:
            await self._first_done(self._attend(), self._read(), self._work(), self._look())
        finally:
            self.news.end()
            for task in self._aside:
                task.cancel()
            await asyncio.gather(*self._aside, return_exceptions=True)
            await line.close()

    async def _held(self) -> Opening:
        """Ask how the tape is held in a new session, where somebody can answer."""
        opening = self._opening
        if opening.tape or not opening.port or opening.session.exists() or not self._terminal:
            return opening
        while True:
            self.say("Question: is the tape held level, taut along the slope, or on the ground? Enter means level.")
            if (line := await anext(self._typed, None)) is None:
                self._over.set()
                await asyncio.Event().wait()
            answer = (line or TAPES[0]).strip().lower()
            if answer in TAPES:
                return opening.held(answer)

    async def _attend(self) -> None:
        await self.walk.attend()
        if not self._leaving:
            self._sounder.play(Sound.LINK_LOST)
            raise Refused(NO_MORE, "the recorder ended; what was said to be saved is saved. Walk again to go on")
        await self._over.wait()

    async def _read(self) -> None:
        """Take typed lines: some are done at once, the others one after the other."""
        async for line in self._typed:
            words = line.split() or [""]
            forces = words == ["force"] and self.talk.waiting is not None
            leaves = self._terminal and words in (["quit"], ["end"])
            if forces or leaves or (words[0].lower() in AT_ONCE and words[0] != "force"):
                task = asyncio.create_task(self._do(line))
                self._aside.add(task)
                task.add_done_callback(self._aside.discard)
            else:
                self._lines.put_nowait(line)
        if self._terminal:
            self._over.set()
        self._lines.put_nowait(None)
        await self._over.wait()

    async def _work(self) -> None:
        await self.news.ready.wait()
        while (line := await self._lines.get()) is not None:
            await self._do(line)
        self._over.set()
        await asyncio.Event().wait()

    async def _do(self, line: str) -> None:
        await self.news.ready.wait()
        reply = self.talk.said(line)
        for words in reply.say:
            self.say(words)
        if reply.ask:
            await self._ask(reply)
        self.news.catch_up()
        if reply.leave is Leave.ENDED:
            await self._end()
        if reply.leave is not None:
            self._over.set()

    async def _ask(self, reply: Reply) -> None:
        if reply.words:
            self.talk.waiting = reply
            self.say(f"Hold still: {reply.words}.")
        self._busy += 1
        try:
            answer = await self.walk.ask_each(*reply.ask)
        except ConnectionError:
            return  # told where the recorder is attended
        finally:
            self._busy -= 1
            if self.talk.waiting is reply:
                self.talk.waiting = None
        self._tell(answer, reply)

    def _tell(self, answer: Answer, reply: Reply) -> None:
        if answer.get("ok"):
            self.say(told(answer, self.walk.rows, self.talk.units))
            if answer.get("event") == "observed":
                self.news.known.add(int(answer["n"]))
                self._sounder.play(Sound.TAKEN)
            if reply.words or answer.get("event") == "setup":
                self.talk.done()
        elif answer.get("error") != "cancelled":
            self.say(f"Refused: {answer.get('message') or answer.get('error')}")
            self._sounder.play(Sound.REFUSED)

    async def _end(self) -> None:
        self._leaving = True
        answer = await self.walk.ask("end")
        self.say("Ended: the session is saved and closed." if answer.get("ok") else f"Refused: {answer.get('message')}")

    async def _look(self) -> None:
        changes = Changes(time.monotonic)
        while True:
            await asyncio.sleep(LOOKS_EVERY_S)
            if (standing := self.walk.now) is not None:
                if line := changes.look(self.walk.live, standing, self.talk.units):
                    self.say(line)
                self.news.mind()

    def _heard(self, heard: Heard) -> None:
        standing = self.walk.standing
        if heard is Heard.LINK and standing is not None and standing.link == "lost":
            self._sounder.play(Sound.LINK_LOST)
        if heard in (Heard.BOOK, Heard.LINK) and not self._busy:
            self.news.catch_up()

    def _mute(self) -> bool:
        self._sounder.mute = not self._sounder.mute
        return self._sounder.mute


async def walk(opening: Opening, *, brief: Path | None, player: str) -> int:
    """Attach to the recorder of a session or start one, and walk; the exit code is that of one that could not start."""
    try:
        await Desk(opening, connected, player=player).run(brief)
    except NotStarted as error:
        return error.code
    except Refused:
        return OUT_OF_TOLERANCE
    return OK
