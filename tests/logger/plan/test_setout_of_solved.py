"""Set-out of layouts as the solver yields them: with landing falls, a grade at the head, nosings kept equal."""

import pytest

from logger.profile import Profile, ProfilePoint
from logger.setout import set_out
from logger.steps.brief import brief_of
from logger.steps.solve import solve

GROUND = Profile(
    tuple(
        ProfilePoint(x, 0.0, z, 0.001)
        for x, z in ((0.0, 0.1), (1.5, 0.3), (3.0, 1.1), (4.5, 1.2), (6.0, 1.9), (8.0, 2.3), (9.0, 2.35))
    )
)
STEPS = {"start": "0.5 m", "run": "7.5 m", "width": "1.2 m", "tread": "0.4 m", "landing": "1 m", "grid": "1 cm"}
LAYERS = {"unit": "15 cm", "bedding": "3 cm", "base": "15 cm"}


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"fall": "2 %", "landing_fall": "1 %"},
        {"top": "grade", "fall": "1:48"},
        {"equal": "nosing", "fall": "2 %"},
        {"bottom": "5 cm", "rise": "2.2 m", "start_slack": "10 cm"},
        {"fall": "0"},
    ],
    ids=str,
)
def test_faces_close_from_the_foot_to_the_whole_rise(more: dict[str, str]) -> None:
    brief = brief_of({"steps": STEPS | more, "layers": LAYERS})
    options = solve(GROUND, brief)
    assert options.options
    for option in options.options:
        plan = set_out(GROUND, option, brief)
        below = plan.foot_m
        for mark, face in zip(plan.marks, option.faces_m, strict=True):
            assert mark.front.finished_m - below == pytest.approx(face, abs=1e-9)
            assert mark.ground_crossings_m == tuple(sorted(mark.ground_crossings_m))
            below = mark.front.finished_m if mark.back.finished_m is None else mark.back.finished_m
        head = GROUND.ground().at(0.5) + brief.steps.bottom_m + options.rise_m
        assert below == pytest.approx(head, abs=1e-9), "where the foot moves, the head stays"
        last = plan.marks[-1]
        assert (last.back.finished_m is None) == (more.get("top") == "grade")
        assert plan.end_station_m == pytest.approx(0.5 + 7.5, abs=0.11 if "start_slack" in more else 1e-9)
        ends = {m.face_station_m for m in plan.marks if m.part == "landing"}
        assert ends <= {s.station_m for s in plan.stakes}
