"""A session that is gone on with, and the one recorder that may."""

from typing import Any

import pytest

from drivers.instrument import parse
from logger.errors import InUse
from logger.recorder.recorder import Recorder
from logger.session.lock import WriterLock
from logger.session.replay import survey
from logger.session.verify import verify

Answer = dict[str, Any]


async def test_a_second_recorder_is_refused_before_it_touches_the_port(site: Any) -> None:
    await site.start()
    opened: list[str] = []

    def make(settings: Any, clock: Any) -> Any:
        opened.append(settings.port)
        return site.level

    with pytest.raises(InUse, match="in use by"):
        await Recorder(site.path, site.settings(), make).start()
    assert not opened
    assert WriterLock(site.path).path.exists()


async def test_a_session_goes_on_in_the_same_setup(site: Any) -> None:
    status = await site.resumed(60.0)
    assert (status["needs_zero"], status["setup"], status["counts"]["observations"]) == (False, 1, 2)
    assert status["last_tag"]["age_s"] > 60
    again = await site.tag("station 2", 2.0)
    assert again["n"] == 3
    assert again["above_zero_m"] == pytest.approx(1.0, abs=2e-4)
    await site.ask("end")
    verify(site.path)
    times = [o.t_s for o in survey(site.path).observations]
    assert times == sorted(times)
    assert times[2] - times[1] > 60


@pytest.mark.parametrize(
    ("away_s", "changed"),
    [(3600.0, {}), (-3600.0, {}), (1.0, {"port": "another"}), (1.0, {"instrument": "Other level"})],
)
async def test_a_session_says_that_the_zero_must_be_observed_again(site: Any, away_s: float, changed: Answer) -> None:
    if "instrument" in changed:
        changed = {"instrument": parse(site.instrument.replace("Hose level", changed["instrument"]), "test")}
    status = await site.resumed(away_s, **changed)
    assert status["needs_zero"] is True
    assert (await site.ask("station 2"))["error"] == "needs_zero"
    assert "BM" in status["message"]
