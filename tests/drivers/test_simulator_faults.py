"""What is made to go wrong with a virtual instrument, as the decoder of its own instrument file sees it."""

from collections import Counter

import pytest

from drivers.instrument import load
from drivers.reading import Chunk, Reading, Reject
from drivers.registry import make_decoder
from drivers.simulator.faults import SPIKE_M, Fault
from drivers.simulator.hose import Behaviour
from drivers.simulator.players import PtyPlayer
from drivers.simulator.stage import Stage
from drivers.simulator.virtual import VirtualInstrument

RATE_HZ = 100.0
COUNT = 400
HEIGHT_M = 0.5


def played(speak: str, **chances: float) -> tuple[VirtualInstrument, list[Reading], Counter[Reject]]:
    """The instrument, its readings over four seconds, and what was refused and why."""
    still = Behaviour(noise_m=0.0, drift_m_per_h=0.0)
    virtual = VirtualInstrument(speak=speak, seed=3, rate_hz=RATE_HZ, behaviour=still)
    virtual.hose.put(HEIGHT_M, -1000.0)
    for name, chance in chances.items():
        virtual.faults.set(Fault(name.replace("_", "-")), chance)
    decoder = make_decoder(load(virtual.instrument))
    readings: list[Reading] = []
    for step in range(COUNT):
        now_s = step / RATE_HZ
        readings += decoder.feed(Chunk(now_s, virtual.due(now_s + 1e-6)))
    return virtual, readings, decoder.rejects


UNASKED = ["lines", "nmea0183", "frames", "pressure"]


@pytest.mark.parametrize("speak", UNASKED)
def test_without_faults_every_reading_is_heard(speak: str) -> None:
    _, readings, _ = played(speak)
    assert COUNT - 1 <= len(readings) <= COUNT
    assert all(r.height_m == pytest.approx(HEIGHT_M, abs=0.001) for r in readings)


@pytest.mark.parametrize("speak", UNASKED)
def test_drop_outs_are_missing_and_nothing_is_made_up(speak: str) -> None:
    virtual, readings, _ = played(speak, drop_out=0.3)
    lost = virtual.faults.counts[Fault.DROP_OUT]
    assert 0.2 * COUNT < lost < 0.4 * COUNT
    assert COUNT - lost - 1 <= len(readings) <= COUNT - lost
    assert all(r.height_m == pytest.approx(HEIGHT_M, abs=0.001) for r in readings)


@pytest.mark.parametrize("speak", UNASKED)
def test_all_dropped_out_is_silence(speak: str) -> None:
    assert played(speak, drop_out=1.0)[1:] == ([], Counter())


@pytest.mark.parametrize("speak", ["lines", "nmea0183", "pressure"])
def test_garbage_before_a_line_costs_no_line_and_makes_none(speak: str) -> None:
    virtual, readings, refused = played(speak, garbage=0.5)
    assert virtual.faults.counts[Fault.GARBAGE] > 0.4 * COUNT
    assert COUNT - 2 <= len(readings) <= COUNT
    assert all(r.height_m == pytest.approx(HEIGHT_M, abs=0.001) for r in readings)
    assert refused.total() > 0.3 * COUNT


def test_garbage_between_frames_makes_no_height() -> None:
    _, readings, _ = played("frames", garbage=0.5)
    assert len(readings) > 0.9 * COUNT
    assert all(r.height_m == pytest.approx(HEIGHT_M, abs=0.001) for r in readings)


@pytest.mark.parametrize("speak", UNASKED)
def test_duplicates_are_heard_twice_at_one_height(speak: str) -> None:
    virtual, readings, _ = played(speak, duplicate=0.25)
    doubled = virtual.faults.counts[Fault.DUPLICATE]
    assert 0.15 * COUNT < doubled < 0.35 * COUNT
    assert COUNT + doubled - 1 <= len(readings) <= COUNT + doubled
    assert {round(r.height_m, 3) for r in readings} == {HEIGHT_M}


@pytest.mark.parametrize("speak", UNASKED)
def test_spikes_stand_off_by_what_was_promised(speak: str) -> None:
    virtual, readings, _ = played(speak, spike=0.1)
    off = [abs(r.height_m - HEIGHT_M) for r in readings if abs(r.height_m - HEIGHT_M) > 0.001]
    assert abs(len(off) - virtual.faults.counts[Fault.SPIKE]) <= 1
    assert len(off) > 0.05 * COUNT
    assert all(SPIKE_M[0] - 0.001 <= spike <= SPIKE_M[1] + 0.001 for spike in off)


@pytest.mark.parametrize("speak", ["nmea0183", "frames"])
def test_wrong_checksums_are_refused_by_that_reason(speak: str) -> None:
    virtual, readings, refused = played(speak, checksum=0.2)
    assert virtual.faults.counts[Fault.CHECKSUM] > 0.1 * COUNT
    assert refused[Reject.CHECKSUM] >= virtual.faults.counts[Fault.CHECKSUM]
    assert all(r.height_m == pytest.approx(HEIGHT_M, abs=0.001) for r in readings)


def test_battery_runs_down_and_then_it_is_silent() -> None:
    virtual, readings, _ = played("lines", battery=1.0)
    full = virtual.hose.behaviour.battery
    assert len(readings) in (int(full) - 1, int(full) - 2)
    assert virtual.due(COUNT / RATE_HZ + 0.5) == b""


def test_battery_is_told_where_the_protocol_can() -> None:
    virtual = VirtualInstrument(speak="modbus", seed=3)
    virtual.faults.set(Fault.BATTERY, 1.0)
    decoder = make_decoder(load(virtual.instrument))
    question = decoder.request()
    assert question is not None
    heard = [virtual.hear(question, float(second)) for second in range(100)]
    assert [bool(answer) for answer in heard] == [True] * 86 + [False] * 14


@pytest.mark.parametrize("speak", ["modbus", "scpi", "polled"])
def test_asked_instruments_drop_out_and_answer_again(speak: str) -> None:
    virtual = VirtualInstrument(speak=speak, seed=3, behaviour=Behaviour(noise_m=0.0, drift_m_per_h=0.0))
    decoder = make_decoder(load(virtual.instrument))
    readings = 0
    for second in range(60):
        virtual.faults.set(Fault.DROP_OUT, 1.0 if 20 <= second < 40 else 0.0)
        question = decoder.request()
        if question is not None:
            readings += len(decoder.feed(Chunk(float(second), virtual.hear(question, float(second)))))
    assert virtual.faults.counts[Fault.DROP_OUT] == 20
    assert 30 <= readings <= 40


@pytest.mark.parametrize(
    "line", ["player", "named x", "on_earth 1", "temperature 400 C", "point BM 1e60 m", "noise 1e60 m", "drift 1e60 m"]
)
def test_what_no_level_can_do_is_answered(line: str) -> None:
    with PtyPlayer(VirtualInstrument(speak="frames")) as player:
        stage = Stage(player)
        assert stage.command(line)["ok"] is False
        assert stage.command("temperature 100 C")["ok"] is True


@pytest.mark.parametrize("chance", [-0.1, 1.1, float("nan")])
def test_chance_out_of_bounds(chance: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        VirtualInstrument().faults.set(Fault.SPIKE, chance)
