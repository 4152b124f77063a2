"""A session whose file was moved while it was recorded, as the person who walks is told of it."""

from drivers.lengths import Units
from tui.walking.doubts import warnings
from tui.walking.standing import standing_of


def test_where_it_is_saved_now_stands_before_every_other_warning() -> None:
    told = {"session": "/job/slope-rescued.walk", "moved": "slope.walk was moved", "saved": True, "units": "m"}
    assert warnings(standing_of(told), None, [], Units.METRES)[0] == "FILE MOVED, saved in: /job/slope-rescued.walk"
    refused = told | {"saved": False, "message": "the disk is full"}
    assert warnings(standing_of(refused), None, [], Units.METRES)[0] == "NOT SAVED: the disk is full"
