"""Tampering is found and named: an event changed, removed, put in, moved, whatever tool was used."""

from collections.abc import Callable
from pathlib import Path

import pytest

from logger.errors import CorruptSession
from logger.session.chain import chained
from logger.session.events import Draft, sealed
from logger.session.store import Session

Tamper = Callable[[Path, str], None]
COPY = "SELECT {}, at_us, t_us, kind, body, raw, digest FROM event WHERE n = {}"


def first_bad(path: Path) -> tuple[int | None, str]:
    with Session.open(path) as session, pytest.raises(CorruptSession) as caught:
        list(chained(session))
    return caught.value.event, str(caught.value)


def test_an_untouched_session_holds(written: Path) -> None:
    with Session.open(written) as session:
        assert len(list(chained(session))) == 11


@pytest.mark.parametrize("n", [1, 5, 11])
@pytest.mark.parametrize(
    "change",
    [
        "at_us = at_us + 1",
        "t_us = t_us - 1",
        "kind = 'odd'",
        "body = body || ' '",
        "raw = x'00'",
        "digest = zeroblob(32)",
    ],
)
def test_any_change_of_any_event_is_found(written: Path, tamper: Tamper, n: int, change: str) -> None:
    tamper(written, f"UPDATE event SET {change} WHERE n = {n}")
    event, why = first_bad(written)
    assert event == n
    assert "was changed" in why


@pytest.mark.parametrize("n", [1, 6, 10])
def test_a_removed_event_is_found(written: Path, tamper: Tamper, n: int) -> None:
    tamper(written, f"DELETE FROM event WHERE n = {n}")
    assert first_bad(written) == (n, f"{written}: event {n} is missing: the next is {n + 1}")


def test_a_removed_event_is_found_though_the_rest_is_renumbered(written: Path, tamper: Tamper) -> None:
    tamper(
        written,
        "DELETE FROM event WHERE n = 6; UPDATE event SET n = -n WHERE n > 6; UPDATE event SET n = -n - 1 WHERE n < 0",
    )
    assert first_bad(written)[0] == 6


def test_two_events_exchanged_are_found(written: Path, tamper: Tamper) -> None:
    tamper(
        written,
        "UPDATE event SET n = -4 WHERE n = 4; UPDATE event SET n = 4 WHERE n = 8; UPDATE event SET n = 8 WHERE n = -4",
    )
    assert first_bad(written)[0] == 4


def test_an_event_put_in_is_found(written: Path, tamper: Tamper) -> None:
    shift = "UPDATE event SET n = -n WHERE n > 6; UPDATE event SET n = 1 - n WHERE n < 0;"
    tamper(written, shift + "INSERT INTO event " + COPY.format(7, 3))
    assert first_bad(written)[0] == 7


def test_an_event_hidden_before_the_first_is_found(written: Path, tamper: Tamper) -> None:
    tamper(written, "INSERT INTO event " + COPY.format(-3, 3))
    assert first_bad(written)[0] == 1


def test_an_event_sealed_anew_breaks_the_next(written: Path, tamper: Tamper) -> None:
    with Session.open(written) as session:
        events = list(session.events())
    forged = sealed(Draft(events[4].at_us, events[4].t_us, events[4].kind, {"rod_m": 0.2}), 5, events[3].digest)
    tamper(written, f"UPDATE event SET body = '{forged.text}', digest = x'{forged.digest.hex()}' WHERE n = 5")
    assert first_bad(written)[0] == 6
