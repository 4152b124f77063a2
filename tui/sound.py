"""What is heard: patterns of the terminal's bell, or a player command of the user's own."""

import asyncio
import logging
import shlex
from collections.abc import Awaitable, Callable
from enum import Enum

log = logging.getLogger(__name__)
SHORT_S = 0.15


class Sound(Enum):
    """What happened, and how many times the bell rings for it."""

    TAKEN = 1
    ON_GRADE = 2
    REFUSED = 3
    LINK_LOST = 5


class Sounder:
    """Plays one sound at a time; a new one ends the one that plays. `player` is split into words as a shell would."""

    def __init__(
        self,
        bell: Callable[[], None],
        *,
        player: str = "",
        pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.mute = False
        self._bell = bell
        self._player = shlex.split(player)
        self._pause = pause
        self._playing: asyncio.Task[None] | None = None

    def play(self, sound: Sound) -> None:
        """Play it, unless muted."""
        if self.mute:
            return
        if self._playing is not None:
            self._playing.cancel()
        self._playing = asyncio.create_task(self._play(sound))

    async def close(self) -> None:
        """End what plays."""
        if self._playing is not None:
            self._playing.cancel()
            await asyncio.gather(self._playing, return_exceptions=True)

    async def _play(self, sound: Sound) -> None:
        if self._player:
            await self._run(sound)
            return
        for i in range(sound.value):
            if i:
                await self._pause(SHORT_S)
            self._bell()

    async def _run(self, sound: Sound) -> None:
        quiet = asyncio.subprocess.DEVNULL
        words = [*self._player, sound.name.lower()]
        try:
            process = await asyncio.create_subprocess_exec(*words, stdin=quiet, stdout=quiet, stderr=quiet)
        except OSError as error:
            log.warning("the player command cannot be run: %s", error)
            self._bell()
            return
        try:
            await process.wait()
        except asyncio.CancelledError:
            if process.returncode is None:
                process.kill()
                await process.wait()
            raise
