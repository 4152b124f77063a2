"""What is heard: a pattern of the bell for each thing that happens, silence, or the user's own player."""

import asyncio
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tui.cli import risewalk
from tui.sound import SHORT_S, Sound, Sounder

PATIENCE_S = 20.0
WRITES = "import sys, pathlib; pathlib.Path(sys.argv[1]).write_text(sys.argv[2])"
DEAF = "import signal, time, sys, pathlib; signal.signal(15, 1); pathlib.Path(sys.argv[1]).touch(); time.sleep(60)"


class Heard:
    """Rings and pauses, in order."""

    def __init__(self) -> None:
        self.all: list[float] = []

    def bell(self) -> None:
        self.all.append(0)

    async def pause(self, seconds: float) -> None:
        self.all.append(seconds)


async def finished(sounder: Sounder) -> None:
    """Let what plays play to its end."""
    assert sounder._playing is not None
    await asyncio.wait_for(sounder._playing, PATIENCE_S)


@pytest.fixture
def heard() -> Heard:
    return Heard()


@pytest.mark.parametrize(
    ("sound", "rings"), [(Sound.TAKEN, 1), (Sound.ON_GRADE, 2), (Sound.REFUSED, 3), (Sound.LINK_LOST, 5)]
)
async def test_each_thing_that_happens_has_its_own_pattern(heard: Heard, sound: Sound, rings: int) -> None:
    sounder = Sounder(heard.bell, pause=heard.pause)
    sounder.play(sound)
    await finished(sounder)
    assert heard.all == [0, *[SHORT_S, 0] * (rings - 1)]


async def test_mute_is_silent_until_it_is_off_again(heard: Heard) -> None:
    sounder = Sounder(heard.bell, pause=heard.pause)
    sounder.mute = True
    sounder.play(Sound.LINK_LOST)
    assert sounder._playing is None
    sounder.mute = False
    sounder.play(Sound.TAKEN)
    await finished(sounder)
    assert heard.all == [0]


async def test_a_player_of_the_users_own_gets_the_name_in_place_of_the_bell(heard: Heard, tmp_path: Path) -> None:
    told = tmp_path / "what was told.txt"
    sounder = Sounder(heard.bell, player=f"{sys.executable} -c '{WRITES}' '{told}'")
    sounder.play(Sound.LINK_LOST)
    await finished(sounder)
    assert told.read_text() == "link_lost"
    assert heard.all == []


async def test_a_player_that_is_not_there_leaves_the_bell(heard: Heard) -> None:
    sounder = Sounder(heard.bell, player="/nowhere/to/be/found")
    sounder.play(Sound.TAKEN)
    await finished(sounder)
    assert heard.all == [0]


async def test_a_player_that_never_ends_holds_nothing_up(heard: Heard, tmp_path: Path) -> None:
    began = tmp_path / "began"
    sounder = Sounder(heard.bell, player=f"{sys.executable} -c '{DEAF}' {began}")
    sounder.play(Sound.TAKEN)
    async with asyncio.timeout(PATIENCE_S):
        while not began.exists():  # noqa: ASYNC110 - a file announces nothing
            await asyncio.sleep(0.01)
        await sounder.close()


def test_a_player_whose_quotes_do_not_close_is_said_at_once() -> None:
    said = CliRunner().invoke(risewalk, ["walk", "--player", "play 'it"])
    assert said.exit_code == 2
    assert "close what is quoted" in said.output
