"""The field book: what counts as the zero, what may be observed when, what striking out undoes."""

from typing import Any

import pytest

from logger.errors import Refused
from logger.observation import Kind
from logger.session.events import Draft, EventKind
from logger.session.fieldbook import GOES_ON_US, FieldBook
from logger.session.observed import Tag, observed_body
from logger.settle import Settled


class Walk:
    """A field book and a way to fill it."""

    def __init__(self) -> None:
        self.book = FieldBook()
        self.t_us = 0
        self.event(
            EventKind.OPENED, {"tape": "level", "job": "", "port": "p", "instrument": {"text": "", "sha256": "s"}}
        )

    def event(self, kind: EventKind, body: dict[str, Any]) -> None:
        self.t_us += 1_000_000
        self.book.apply(Draft(self.t_us, self.t_us, kind, body))

    def see(self, kind: str, shown_m: float, name: str = "", **tag: Any) -> dict[str, Any]:
        settled = Settled(shown_m, 0.0004, 0.001, 12, 6.0, 0, True, self.t_us / 1e6, self.t_us / 1e6 + 1, None)
        body = observed_body(self.book, Tag(Kind(kind), name, **tag), settled, self.t_us)
        self.event(EventKind.OBSERVED, body)
        return body

    def gap(self) -> None:
        self.event(EventKind.LINK, {"state": "lost", "why": "", "gap": True})

    def setup(self) -> None:
        self.event(EventKind.SETUP, {"setup": self.book.setup + 1})

    def strike(self, n: int) -> None:
        self.event(EventKind.STRUCK, {"n": n, "reason": ""})

    def must_see_the_zero(self) -> None:
        """A station is refused, and nothing is taken."""
        with pytest.raises(Refused) as refused:
            self.see("station", 0.0, tape_m=1.0)
        assert refused.value.error == "needs_zero"


@pytest.fixture
def walk() -> Walk:
    return Walk()


def test_heights_count_from_the_benchmark(walk: Walk) -> None:
    walk.must_see_the_zero()
    assert walk.see("benchmark", 1.25, "BM", given_m=100.0)["above_zero_m"] == 100.0
    assert walk.see("station", 1.75, tape_m=3.0)["above_zero_m"] == pytest.approx(100.5)
    check = walk.see("benchmark", 1.252, "BM")
    assert check["misclosure_m"] == pytest.approx(0.002)
    assert check["elevation_m"] == 100.0
    assert walk.see("station", 1.752, tape_m=4.0)["above_zero_m"] == pytest.approx(100.5)


def test_a_setup_needs_its_own_zero_and_a_turning_point_brings_it(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM")
    walk.see("turn", 3.0, "TP1")
    walk.setup()
    walk.must_see_the_zero()
    with pytest.raises(Refused, match="TP1 or BM"):
        walk.see("turn", 0.5, "TP2")
    again = walk.see("turn", 0.5, "TP1")
    assert (again["above_zero_m"], again["elevation_m"], again["known_m"]) == (2.0, None, 2.0)
    assert walk.see("station", 1.0, tape_m=9.0)["above_zero_m"] == pytest.approx(2.5)
    assert (walk.book.setup, walk.book.stretch) == (2, 2)


def test_a_link_gap_keeps_the_setup_and_asks_for_the_zero(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM")
    walk.gap()
    walk.must_see_the_zero()
    assert walk.book.setup == 1
    walk.see("benchmark", 5.0, "BM")
    assert walk.see("station", 5.5, tape_m=1.0)["above_zero_m"] == pytest.approx(0.5)
    assert walk.book.entries[-1].body["stretch"] == 2


def test_a_point_of_known_height_serves_after_a_gap(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM")
    walk.see("point", 2.0, "patio")
    walk.gap()
    walk.see("point", 7.0, "patio")
    assert walk.see("station", 7.25, tape_m=1.0)["above_zero_m"] == pytest.approx(1.25)


def test_striking_the_zero_asks_for_another(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM", given_m=50.0)
    walk.strike(1)
    walk.must_see_the_zero()
    assert walk.see("benchmark", 2.0, "BM")["elevation_m"] == 50.0


def test_striking_a_bad_check_brings_back_the_zero_before(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM")
    walk.see("benchmark", 9.0, "BM")
    walk.strike(2)
    assert walk.see("station", 1.5, tape_m=1.0)["above_zero_m"] == pytest.approx(0.5)


def test_the_rod_comes_off(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM")
    walk.event(EventKind.ROD, {"rod_m": 0.3})
    assert walk.see("station", 1.8, tape_m=1.0)["above_zero_m"] == pytest.approx(0.5)


def test_an_elevation_given_twice_must_agree(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM", given_m=100.0)
    with pytest.raises(Refused, match="observation 1") as refused:
        walk.see("benchmark", 1.0, "BM", given_m=101.0)
    assert refused.value.error == "bad_length"
    walk.strike(1)
    assert walk.see("benchmark", 1.0, "BM", given_m=101.0)["above_zero_m"] == 101.0


def test_a_second_mark_without_elevation_is_observed_not_assumed(walk: Walk) -> None:
    walk.see("benchmark", 1.0, "BM")
    second = walk.see("benchmark", 1.5, "BM2")
    assert (second["elevation_m"], second["above_zero_m"]) == (None, 0.5)
    assert walk.see("station", 1.5, tape_m=1.0)["above_zero_m"] == 0.5
    walk.setup()
    walk.see("benchmark", 4.0, "BM2")
    assert walk.see("station", 4.0, tape_m=2.0)["above_zero_m"] == 0.5


def test_going_on_depends_on_how_long_and_with_what(walk: Walk) -> None:
    last = walk.t_us
    assert walk.book.goes_on(last + GOES_ON_US, "p", "s")
    assert not walk.book.goes_on(last + GOES_ON_US + 1, "p", "s")
    assert not walk.book.goes_on(last - 1, "p", "s")
    assert not walk.book.goes_on(last, "q", "s")
    assert not walk.book.goes_on(last, "p", "another instrument")
