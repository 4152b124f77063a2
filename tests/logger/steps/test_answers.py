"""What a builder gets on odd ground and odd wishes: layouts where there are any, causes and mends where not."""

from pathlib import Path

import pytest

from logger.errors import WrongFile
from logger.profile import NamedPoint, Profile, ProfilePoint
from logger.steps.brief import brief_of
from logger.steps.option import Option, Options, Verdict
from logger.steps.rulebook import parse, rule_set, rule_set_names
from logger.steps.solve import solve

FIELDS: dict[str, object] = {"tread": "0.4 m", "landing": "1 m", "grid": "5 cm", "fall": 0}


def ask(
    fields: dict[str, object],
    *points: tuple[float, float],
    named: dict[str, float] | None = None,
    explain: int | None = None,
) -> Options:
    marks = tuple(NamedPoint(name, z, 0.001) for name, z in (named or {}).items())
    profile = Profile(tuple(ProfilePoint(x, 0.0, z, 0.001) for x, z in points), marks) if points else None
    return solve(profile, brief_of({}, FIELDS | fields), explain)


def of(options: Options, risers: int) -> Option:
    return next(o for o in options.options if o.risers == risers)


def refusal(options: Options, risers: int) -> tuple[list[str], str]:
    refused = next(r for r in options.refused if r.risers == risers)
    return [cause.rule for cause in refused.causes], "; ".join(refused.mends)


def test_counts_from_two_below_to_two_above_the_bounds() -> None:
    options = ask({"rise": "1.2 m", "run": "9 m", "riser_min": "0.12 m", "riser_max": "0.2 m"})
    assert sorted(o.risers for o in options.options) == [6, 7, 8, 9, 10]
    assert [r.risers for r in options.refused] == [4, 5, 11, 12]
    assert refusal(options, 5)[0] == ["riser_max"]
    assert refusal(options, 11)[0] == ["riser_min"]


def test_the_bounds_of_rule_sets_hold_where_the_brief_gives_none() -> None:
    fields: dict[str, object] = {"rise": "1.4 m", "run": "9 m", "rules.sets": "ibc-2015", "tread": "0.3 m"}
    options = ask(fields)
    assert min(o.risers for o in options.options) == 8, "1.4 / 8 = 0.175 <= 7 in = 0.1778"
    assert refusal(options, 7)[0] == ["ibc-2015/riser_max"]
    told = ask(fields | {"riser_max": "0.21 m"})
    assert of(told, 7).findings[1].status is Verdict.FAIL
    assert told.options[-1].risers == 7, "a count that fails a rule ranks below all that pass"


def test_a_rise_between_two_counts_says_how_far_to_raise_the_foot() -> None:
    """0.25 m is too much for one riser of 0.2 m and too little for two of 0.15 m."""
    options = ask({"rise": "0.25 m", "run": "0.8 m", "riser_min": "0.15 m", "riser_max": "0.2 m"})
    assert options.options == ()
    assert "0.050 m less rise: the grade at the foot raised" in refusal(options, 1)[1]
    assert "0.050 m more rise: the grade at the foot lowered" in refusal(options, 2)[1]


def test_without_sets_findings_only_inform() -> None:
    options = ask({"rise": "1.4 m", "run": "9 m", "riser_max": "0.25 m"})
    assert not [f for o in options.options for f in o.findings if f.status is Verdict.FAIL]


def test_the_wanted_riser_leads() -> None:
    options = ask({"rise": "1.2 m", "run": "9 m", "riser": "0.15 m"})
    assert options.options[0].risers == 8
    assert "wanted riser" in options.ranking


def test_a_gap_no_landing_fits_says_what_would_mend_it() -> None:
    options = ask({"rise": "0.45 m", "run": "1.5 m"}, explain=3)
    causes, mends = refusal(options, 3)
    assert causes == ["run"]
    assert "equal treads of 500.0 mm" in mends
    assert "foot moved 0.300 m up" in mends
    assert [
        o.depths_m for o in ask({"rise": "0.45 m", "run": "1.5 m", "tread_max": "0.5 m"}).options if o.risers == 3
    ] == [pytest.approx((0.5, 0.5, 0.5))]


def test_the_foot_moves_within_its_slack_and_no_further() -> None:
    points = [(0.0, 0.0), (1.5, 0.45)]
    moved = of(ask({"start_slack": "0.3 m"}, *points), 3)
    assert moved.face_stations_m[0] == pytest.approx(0.3)
    assert moved.depths_m == pytest.approx((0.4, 0.4, 0.4))
    assert moved.rise_m == pytest.approx(0.45 - 0.09), "the ground at the foot is higher there"
    assert any("foot moved" in text for text in moved.adjusted)
    assert 3 not in [o.risers for o in ask({"start_slack": "0.29 m"}, *points).options]


def test_what_is_left_below_a_cell() -> None:
    landing = of(ask({"rise": "0.45 m", "run": "2.52 m"}), 3)
    assert landing.depths_m[landing.landings[-1].after_riser - 1] % 0.05 == pytest.approx(0.02)
    tread = of(ask({"rise": "0.45 m", "run": "1.22 m"}), 3)
    assert tread.depths_m == pytest.approx((0.4, 0.4, 0.42))
    even = of(ask({"rise": "0.45 m", "run": "0.82 m", "top": "grade"}), 3)
    assert even.depths_m == pytest.approx((0.41, 0.41))
    foot = of(ask({"rise": "0.45 m", "run": "0.82 m", "top": "grade", "start_slack": "5 cm"}), 3)
    assert foot.depths_m == pytest.approx((0.4, 0.4))
    assert foot.face_stations_m[0] == pytest.approx(0.02)
    for option in (landing, tread, even, foot):
        assert option.adjusted


def test_a_landing_that_fits_exactly_is_not_refused_for_the_grid() -> None:
    option = of(ask({"rise": "0.4 m", "run": "1.4 m", "grid": "1/2 in", "riser_max": "0.21 m"}), 2)
    assert option.depths_m == pytest.approx((1.0, 0.4))


@pytest.mark.parametrize("points", [[(0.0, 0.0), (5.0, 0.0)], [(0.0, 1.0), (5.0, 0.0)], [(0.0, 0.0), (9.0, 0.02)]])
def test_level_and_falling_ground_has_no_steps(points: list[tuple[float, float]]) -> None:
    options = ask({"fall": "1 %"}, *points)
    assert options.options == ()
    assert options.refused
    assert {cause.rule for r in options.refused for cause in r.causes} == {"rise"}


def test_named_points_give_bottom_and_rise() -> None:
    options = ask({"foot": "walk", "head": "patio"}, (0.0, 0.1), (4.0, 0.9), named={"walk": 0.2, "patio": 1.1})
    assert options.rise_m == pytest.approx(0.9)
    assert options.options[0].foot_m == pytest.approx(0.2)
    assert not [note for note in options.notes if "bare ground" in note]
    assert len([n for n in ask({}, (0.0, 0.1), (4.0, 0.9)).notes if "bare ground" in n]) == 2
    with pytest.raises(WrongFile, match=r"steps\.head.*patoi.*patio"):
        ask({"head": "patoi"}, (0.0, 0.1), (4.0, 0.9), named={"patio": 1.1})


def test_a_landing_where_it_is_wanted_and_none_where_not() -> None:
    points = [(0.0, 0.0), (6.0, 1.5)]
    brief: dict[str, object] = {"landing_at": [{"station": "3 m", "depth": "1.5 m"}]}
    for option in ask(brief, *points).options:
        assert any(
            option.face_stations_m[k.after_riser - 1] <= 3 <= option.face_stations_m[k.after_riser - 1] + k.depth_m
            and k.depth_m >= 1.5 - 1e-9
            for k in option.landings
        )
    for option in ask({"no_landing": [{"from": "0 m", "to": "4 m"}]}, *points).options:
        assert all(option.face_stations_m[k.after_riser - 1] >= 4 - 1e-6 for k in option.landings)


def test_a_last_tread_that_was_told_keeps_the_rules_about_places() -> None:
    points = [(0.0, 0.0), (6.0, 1.5)]
    wanted: dict[str, object] = {"landing_at": [{"station": "5.8 m"}], "last_tread": "0.5 m"}
    assert ask(wanted, *points).options == ()
    assert ask(wanted | {"last_tread": "1.2 m"}, *points).options
    assert ask({"no_landing": [{"from": "5 m", "to": "6 m"}], "last_tread": "1.2 m"}, *points).options == ()


def test_flights_of_a_set_and_of_its_rise() -> None:
    options = ask({"rise": "4.5 m", "run": "14 m", "rules.sets": "irc-2024", "tread": "0.3 m"})
    for option in options.options:
        rise = next(f for f in option.findings if f.rule == "irc-2024/flight_rise")
        assert rise.status is Verdict.PASS


def test_evenness_warns_early() -> None:
    """At 2 % and 16 in the first riser and the others differ by 0.32 in of the 3/8 allowed."""
    options = ask({"rise": "80 in", "run": "252 in", "tread": "16 in", "landing": "36 in", "fall": "2 %",
                   "rules.sets": "irc-2024", "grid": "1/2 in"})  # fmt: skip
    finding = next(f for f in options.options[0].findings if f.rule == "irc-2024/evenness")
    assert finding.status is Verdict.WARN
    assert finding.value is not None
    assert finding.value / 0.0254 == pytest.approx(0.32)


def test_drops_and_banks_beside_the_steps() -> None:
    line = [ProfilePoint(x, 0.0, 0.3 * x, 0.001) for x in (0.0, 4.0)]
    left = [ProfilePoint(x, -0.6, 0.3 * x - 0.9, 0.001) for x in (0.0, 4.0)]
    right = [ProfilePoint(x, 0.6, 0.3 * x + 0.4, 0.001) for x in (0.0, 4.0)]
    brief = brief_of({}, FIELDS | {"rules.sets": "irc-2024", "width": "1.2 m"})
    both = solve(Profile(tuple(line + left + right)), brief).options[0]
    guard = next(f for f in both.findings if f.rule == "irc-2024/guard")
    assert guard.status is Verdict.WARN
    assert guard.value is not None
    assert guard.value > 0.9
    assert any(f.rule == "soil_beside" for f in both.findings)
    assert any(f.rule == "foot_across" and f.status is Verdict.WARN for f in both.findings)
    alone = solve(Profile(tuple(line)), brief).options[0]
    unseen = next(f for f in alone.findings if f.rule == "irc-2024/guard")
    assert unseen.status is Verdict.NOTE
    assert "not checked" in unseen.text


def test_shipped_rule_sets_are_whole() -> None:
    for name in rule_set_names():
        rules = rule_set(name)
        assert rules.title
        assert rules.source
        for rule in rules.rules:
            assert rule.known
            assert rule.clause or rule.known == "common practice", (name, rule.name)


def test_a_person_overrides_and_adds_sets(tmp_path: Path) -> None:
    text = '[set]\ntitle = "Own"\n[[rule]]\nname = "riser_max"\nmeasures = "nosing_rise"\nmost = "8 1/4 in"\nknown = "from memory"\n'
    (tmp_path / "irc-2024.toml").write_text(text)
    (tmp_path / "mine.toml").write_text(text)
    assert rule_set("irc-2024", tmp_path).rules[0].most_value == pytest.approx(8.25 * 0.0254)
    assert "mine" in rule_set_names(tmp_path)
    with pytest.raises(WrongFile) as caught:
        parse(
            '[set]\ntitle = "x"\n[[rule]]\nname = "a"\nmeasures = "tread"\nleast = "7 blah"\n[[rule]]\nname = "b"\nmeasures = "face"\n[[rule]]\nname = "c"\nmeasures = "flight_risers"\nmost = "nan"\n',
            "x",
            "x",
        )
    assert len(caught.value.mistakes) == 3
    assert "rule.2.most: 'nan' is not a number" in caught.value.mistakes


def test_neighbours_are_held_apart_from_the_whole_flight() -> None:
    """NBC 9.8.4.4: 5 mm between adjacent risers, 10 mm in a flight; 2 % over 0.4 m makes 8 mm of the first two."""
    options = ask({"rise": "1.2 m", "run": "5 m", "fall": "2 %", "rules.sets": "nbc-2023-private"})
    status = {f.rule.removeprefix("nbc-2023-private/"): (f.status, f.value) for f in options.options[0].findings}
    assert status["neighbouring_risers"] == (Verdict.FAIL, pytest.approx(0.008))
    assert status["evenness"] == (Verdict.WARN, pytest.approx(0.008))


def test_faces_that_are_not_built_break_no_bound() -> None:
    """Two flights of one riser with nosings kept equal: both faces are 80.4 mm, none is a tread's fall lower."""
    fields: dict[str, object] = {"rise": "0.17 m", "run": "0.88 m", "tread": "0.12 m", "landing": "0.3 m",
                                 "grid": "4 cm", "fall": "1.04 %", "equal": "nosing", "top": "grade"}  # fmt: skip
    option = of(ask(fields | {"riser_min": "80 mm"}), 2)
    assert option.faces_m == pytest.approx([(0.17 - 0.0104 * 0.88) / 2] * 2)
    assert refusal(ask(fields | {"riser_min": "81 mm"}), 2)[0] == ["riser_min"]


def test_even_treads_off_the_grid_only_where_none_on_it_fill_the_run() -> None:
    fields: dict[str, object] = {"rise": "0.6 m", "tread": "0.3 m", "tread_max": "0.4 m", "landing": "0.5 m"}
    assert of(ask(fields | {"run": "1.24 m"}), 4).depths_m == pytest.approx((0.3, 0.3, 0.3, 0.34))
    assert of(ask(fields | {"run": "1.3 m"}), 4).depths_m == pytest.approx((0.325,) * 4)
