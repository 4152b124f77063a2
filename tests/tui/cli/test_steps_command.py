"""`risewalk steps` and `rules` as typed: JSON by the schema, exit codes, one sentence for each mistake."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from logger.errors import FileError
from tui.cli.rules import command as rules
from tui.cli.steps import command as steps

TAILGATE = ["--rise", "6 ft 8 in", "--run", "21 ft", "--tread", "16 in", "--landing", "36 in"]


def run(*words: str) -> Result:
    return CliRunner().invoke(steps, words, standalone_mode=False)


def test_json_holds_the_schema() -> None:
    done = run(*TAILGATE, "--json")
    document = json.loads(done.stdout)
    assert done.return_value == 0
    assert document["schema"] == "risewalk.options/1"
    assert document["chosen"] == 0
    assert document["rise_m"] == pytest.approx(2.032)
    option = document["options"][0]
    for name in ("risers", "treads", "face_m", "nosing_rise_m", "tread_m", "fall", "depths_m", "face_stations_m"):
        assert name in option
    for name in ("tops_m", "landings", "ground_above_m2", "ground_below_m2", "fit_m2", "step_rule_m", "findings"):
        assert name in option
    assert set(option["findings"][0]) == {"rule", "clause", "status", "value", "limit", "text"}
    assert set(document["refused"][0]["causes"][0]) == {"rule", "text", "value", "limit"}
    assert document["estimate_only"] is True


def test_words_for_people() -> None:
    text = run(*TAILGATE).stdout
    assert "Total rise 6'-8\", total run 21'-0\"" in text
    assert "risers, " in text
    assert "estimate only" in text
    assert "Local code and licensed practice govern" in text
    assert "Next:" in text


def test_why_not() -> None:
    assert "15 risers cannot be" in run(*TAILGATE, "--explain", "15").stdout
    assert "12 risers, 9 treads, 3 landings" in run(*TAILGATE, "--explain", "12").stdout
    assert "out of the question" in run(*TAILGATE, "--explain", "99").stdout


def test_no_layout_exits_one() -> None:
    done = run("--rise", "2 in", "--run", "30 ft", "--tread", "16 in", "--landing", "36 in", "--json")
    document = json.loads(done.stdout)
    assert done.return_value == 1
    assert document["options"] == []
    assert document["refused"]


def test_mistakes_in_options_are_all_told() -> None:
    done = run("--rise", "3", "--tread", "x", "--landing", "y")
    assert done.exception is not None
    assert "--tread" in str(done.exception.message)  # type: ignore[attr-defined]
    assert "--landing" in str(done.exception.message)  # type: ignore[attr-defined]
    assert str(done.exception.message).endswith("--brief FILE")  # type: ignore[attr-defined]


def test_mistakes_in_the_brief_are_told_with_their_places(tmp_path: Path) -> None:
    brief = tmp_path / "brief.toml"
    brief.write_text('[steps]\ntread = "x"\nlanding = 1\ntop = "y"\ngrit = 3\n')
    done = run("--brief", str(brief))
    assert isinstance(done.exception, FileError)
    for place in ("steps.tread", "steps.top", "steps.grit"):
        assert place in str(done.exception)


def test_rules_are_listed_and_shown() -> None:
    runner = CliRunner()
    assert "irc-2024" in runner.invoke(rules, []).stdout
    shown = runner.invoke(rules, ["irc-2024"]).stdout
    assert "R318.7.5.1" in shown
    assert "7 3/4 in" in shown
    document = json.loads(runner.invoke(rules, ["irc-2024", "--json"]).stdout)
    assert document["sets"][0]["rules"][0]["most"] == "7 3/4 in"
    assert "did you mean irc-2024" in runner.invoke(rules, ["irc-2042"]).output
