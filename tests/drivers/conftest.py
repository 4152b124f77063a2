"""A virtual level on a pseudo-terminal, and the modules that tests of this folder share."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from link_bench import level

from drivers.simulator.players import PtyPlayer


@pytest.fixture
def player() -> Iterator[PtyPlayer]:
    with PtyPlayer(level()) as playing:
        assert isinstance(playing, PtyPlayer)
        yield playing
