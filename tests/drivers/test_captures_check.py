"""`instruments check --against` on the captures kept with the project: readings, and refusals by their reason."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from drivers.capture import decode_capture
from drivers.instrument import load
from drivers.registry import make_decoder
from drivers.simulator.virtual import VirtualInstrument
from tui.cli.instruments import command

CAPTURES = Path(__file__).parents[2] / "fixtures" / "captures"


@pytest.mark.parametrize(
    ("name", "heights_m", "rejects"),
    [
        (
            "lines_units_refused.bin",
            [12.5 * 0.0254, 12.6 * 0.0254, 0.254, 0.254],
            {"length": 1, "refused": 1, "not_mine": 1},
        ),
        ("lines_decimal_comma.bin", [0.1, 0.1005, -0.0995, 0.25], {}),
    ],
)
def test_a_capture_is_decoded_with_reasons(name: str, heights_m: list[float], rejects: dict[str, int]) -> None:
    told = CliRunner().invoke(command, ["check", "ascii-lines", "--against", str(CAPTURES / name), "--json"])
    assert told.exit_code == 0, told.output
    shown = json.loads(told.stdout)
    assert [r["height_m"] for r in shown["readings"]] == pytest.approx(heights_m)
    assert shown["rejects"] == rejects
    assert shown["bytes"] == (CAPTURES / name).stat().st_size


def test_no_answer_of_a_long_capture_is_taken_for_cut(tmp_path: Path) -> None:
    virtual, file = VirtualInstrument(speak="modbus", seed=3), load("modbus-float")
    question = make_decoder(file).request()
    assert question is not None
    (tmp_path / "long.bin").write_bytes(b"".join(virtual.hear(question, 0.1 * i) for i in range(2000)))
    decoded = decode_capture(file, tmp_path / "long.bin")
    assert len(decoded.readings) == 2000
    assert not decoded.rejects


def test_people_are_told_why() -> None:
    told = CliRunner().invoke(command, ["check", "ascii-lines", "--against", str(CAPTURES / "lines_units_refused.bin")])
    assert "4 readings" in told.stdout
    assert "over-range" in told.stdout
