"""When a height is steady and what it is worth: simulated hoses, real captures, and the same bits every time."""

import csv
import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from logger.reduction import sample
from logger.settle import Settled, Settler


@dataclass(frozen=True)
class Rule:
    window_s: float = 1.5
    spread_m: float = 0.002
    damping_s: float = 0.0
    resolution_m: float = 0.0


def settle(
    height: Callable[[float], float], rule: Rule = Rule(), *, since_s: float = 3.0, rate: float = 10
) -> Settled | None:
    settler = Settler(rule)
    for i in range(int(30 * rate)):
        settler.feed(i / rate, height(i / rate))
        if i / rate > since_s and (found := settler.take(since_s)) is not None:
            return found
    return None


def test_outliers_as_in_the_worked_window() -> None:
    # Hampel's identifier with 1.4826 MAD: median 1.0, MAD 0.05, scaled 0.07413; only 9.0 lies beyond three of them.
    window = [1.0, 1.1, 0.9, 1.0, 9.0, 1.05, 0.95]
    assert sample.without_outliers(window) == [1.0, 1.1, 0.9, 1.0, 1.05, 0.95]
    assert abs(sample.MAD_TO_SIGMA - 1.482602218505602) < 1e-15


def test_effective_count_is_whole_for_white_noise_and_small_for_slow_noise() -> None:
    rnd = random.Random(2)
    white, slow, memory, slow_memory = [], [], sample.Memory(), sample.Memory()
    x = 0.0
    for _ in range(40):
        white = [rnd.gauss(0, 1) for _ in range(15)]
        slow = [x := 0.951 * x + 0.309 * rnd.gauss(0, 1) for _ in range(15)]
        memory, slow_memory = memory.after(white), slow_memory.after(slow)
    assert sample.effective_count(white, memory) > 10
    assert sample.effective_count(slow, slow_memory) < 2.5


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_correlation_of_short_windows_is_mended(rho: float) -> None:
    rnd = random.Random(3)
    power = lagged = 0.0
    for _ in range(3000):
        window = [rnd.gauss(0, 1)]
        for _ in range(14):
            window.append(rho * window[-1] + math.sqrt(1 - rho**2) * rnd.gauss(0, 1))
        one = sample.moments(window)
        power, lagged = power + one[0], lagged + one[1]
    assert sample.correlation(lagged / power, sample.lag_one_expected, 15) == pytest.approx(rho, abs=0.03)


def test_resting_probe_takes_one_window() -> None:
    rnd = random.Random(1)
    found = settle(lambda t: 0.8 + rnd.gauss(0, 0.0003))
    assert found is not None
    assert found.steady
    assert found.to_s - 3.0 < 1.6
    assert found.height_m == pytest.approx(0.8, abs=3 * found.u_m)
    assert 0.00005 < found.u_m < 0.0003


def test_only_readings_after_the_tag_count() -> None:
    found = settle(lambda t: 0.5 if t <= 3.0 else 0.9)
    assert found is not None
    assert found.height_m == 0.9
    assert found.from_s > 3.0


@pytest.mark.parametrize(("damping_s", "period_s"), [(0.12, 0.5), (1.0, 2.0), (3.0, 4.0)])
def test_swinging_hose_is_waited_for(damping_s: float, period_s: float) -> None:
    errors = []
    for seed in range(15):
        rnd = random.Random(seed)
        phase = rnd.uniform(0, 6.28)
        found = settle(
            lambda t, rnd=rnd, phase=phase: (  # type: ignore[misc]
                0.2 * (t < 2.9)
                + 0.1 * (t >= 2.9) * math.exp(-(t - 2.9) / damping_s) * math.cos(6.283 * (t - 2.9) / period_s + phase)
                + rnd.gauss(0, 0.0002)
            )
        )
        assert found is not None
        errors.append(abs(found.height_m) / found.u_m)
    assert max(errors) < 4
    assert sum(e < 1.96 for e in errors) >= 12


def test_a_height_that_swings_for_ever_is_never_steady() -> None:
    assert settle(lambda t: 0.004 * math.sin(6.283 * t / 2)) is None


def test_the_instruments_own_flag_is_obeyed() -> None:
    settler = Settler(Rule())
    for i in range(60):
        settler.feed(i / 10, 1.0, stable=i < 40)
    assert settler.take(4.5) is None
    assert settler.take(0.5) is None


def test_spikes_are_dropped_and_counted() -> None:
    rnd = random.Random(7)
    found = settle(lambda t: 0.3 + rnd.gauss(0, 0.0003) + (0.5 if 3.55 < t < 3.65 else 0.0))
    assert found is not None
    assert found.dropped >= 1
    assert found.height_m == pytest.approx(0.3, abs=0.0005)


def test_equal_readings_leave_a_step_over_root_twelve() -> None:
    # JCGM 100:2008, F.2.2.1.
    found = settle(lambda t: 0.254, Rule(resolution_m=0.00127))
    assert found is not None
    assert found.u_m == pytest.approx(0.00127 / math.sqrt(12), rel=1e-6)


def test_forced_reading_carries_the_swing() -> None:
    settler = Settler(Rule())
    for i in range(40):
        settler.feed(i / 10, 0.02 * math.sin(i))
    forced = settler.force(2.05)
    assert forced is not None
    assert not forced.steady
    assert forced.readings == 1
    assert forced.from_s == 2.1
    assert 0.01 < forced.u_m < 0.05
    assert settler.force(99.0) is None


def test_same_readings_same_bits_however_often_it_is_asked() -> None:
    def run(ask: bool) -> Settled | None:
        rnd, settler = random.Random(11), Settler(Rule())
        for i in range(200):
            settler.feed(i / 10, 1.0 + rnd.gauss(0, 0.0004), None, 15.0 + i * 0.01)
            if ask:
                settler.now()
                settler.take(i / 10 - 0.5)
        return settler.take(18.0)

    assert run(ask=True) == run(ask=False)


def test_memory_is_bounded() -> None:
    settler = Settler(Rule())
    for i in range(100_000):
        settler.feed(i / 1000, 1.0)
    assert len(settler._trace.times) < 20_000


def test_rangefinder_with_one_absurd_outlier(corpus: Path) -> None:
    # 1802 distances at 97 Hz from an optical rangefinder, noise of centimetres, 66910.80 at 15.726 s.
    with (corpus / "timeseries" / "lidarlite_distance.csv").open() as file:
        rows = [(float(r["t_s"]), float(r["distance_cm"]) / 100) for r in csv.DictReader(file)]
    settler = Settler(Rule(spread_m=0.05, damping_s=0.1, resolution_m=0.0001))
    taken = []
    since = 0.0
    for t, height in rows:
        settler.feed(t, height)
        if (found := settler.take(since)) is not None:
            taken.append(found)
            since = t
    assert taken
    assert all(abs(s.height_m) < 10 for s in taken)
    window = [height for t, height in rows if 15.0 < t < 16.5]
    kept = sample.without_outliers(window)
    assert max(window) > 600
    assert max(kept) < 600


def balance(corpus: Path, capture: str) -> list[tuple[float, float, bool]]:
    """Time, value in grams and the balance's own flag of each whole line, at the time its last byte came."""
    lines, line = [], b""
    with (corpus / "serial" / f"{capture}.timed.csv").open() as file:
        for row in csv.DictReader(file):
            line += bytes.fromhex(row["hex"])
            if line.endswith(b"\n"):
                value, _, flag = line.decode("ascii").split()
                lines, line = [*lines, *([(float(row["t_s"]), float(value), flag == "S")] if flag in "SU" else [])], b""
    return lines


def test_nothing_is_steady_that_a_balance_calls_unsteady(corpus: Path) -> None:
    # A gram is taken as a millimetre; the balance is loaded at 3.9 s and unloaded at 8.3 s of the capture.
    lines = balance(corpus, "scale_various_values_and_overflow")
    settler, agreed = Settler(Rule(window_s=1.0, resolution_m=0.00001)), []
    for t, grams, own in lines:
        settler.feed(t, grams / 1000)
        live = settler.now()
        assert live is not None
        assert own or not live.steady
        agreed.append(live.steady and own)
    assert sum(agreed) >= 1
    told = Settler(Rule(resolution_m=0.00001))
    for t, grams, own in lines:
        told.feed(t, grams / 1000, own)
        assert (told.take(t - 1.8) is not None) is (own and t > 1.2)


def test_a_balance_at_rest_is_steady_as_it_says(corpus: Path) -> None:
    settler, taken = Settler(Rule(resolution_m=0.00001)), []
    for t, grams, own in balance(corpus, "scale_tare"):
        settler.feed(t, grams / 1000, own)
        taken.append(settler.take(t - 1.6))
    assert [s.height_m for s in taken[2:6] if s] == [0.1272] * 4
    assert [s.height_m for s in taken[-6:] if s] == [0.0] * 6


@pytest.mark.parametrize(("damping_s", "swing_s"), [(0.2, 0.8), (0.8, 1.5), (4.0, 6.0)])
def test_damping_and_swing_are_learnt_from_a_move(damping_s: float, swing_s: float) -> None:
    rnd, settler = random.Random(5), Settler(Rule())
    for i in range(1200):
        t = i / 10 - 5
        swing = 0.15 * math.exp(-t / damping_s) * math.cos(6.2832 * t / swing_s) if t > 0 else 0.15
        settler.feed(i / 10, swing + rnd.gauss(0, 0.0003))
    learnt = settler._unrest.swing
    assert learnt is not None
    assert learnt.damping_s == pytest.approx(damping_s, rel=0.25)
    if damping_s > swing_s / 2:  # quicker ones pass the level too seldom to tell
        assert learnt.speed == pytest.approx(6.2832 / swing_s, rel=0.2)


def test_nothing_is_steady_before_two_windows_were_heard_of_a_hose_not_known() -> None:
    def first(rule: Rule, stable: bool | None = None) -> float:
        settler = Settler(rule)
        for i in range(100):
            settler.feed(i / 10, 1.0, stable)
            if settler.take(-0.05) is not None:
                return i / 10
        return math.inf

    assert 4.3 < first(Rule()) < 4.7
    assert first(Rule(damping_s=0.2)) < 1.5
    assert first(Rule(), stable=True) < 1.5


@pytest.mark.parametrize("every_s", [0.7, 2.0, 10.0])
def test_an_instrument_slower_than_its_window_is_waited_for_not_refused(every_s: float) -> None:
    settler = Settler(Rule())
    taken = []
    for i in range(20):
        settler.feed(i * every_s, 1.0 + 0.0001 * (i % 3))
        taken.append(settler.take(-0.1) is not None)
    first = taken.index(True)
    assert 4 <= first <= 8
    assert all(taken[first:])


@pytest.mark.parametrize("step", [0.0005, 0.00127])
def test_a_coarse_instrument_learns_what_its_noise_leaves_of_the_rounding(step: float) -> None:
    # Sheppard and Widrow: with noise of half a step, rounding leaves next to nothing on a mean; with none, it all stays.
    def left(noise: float) -> float:
        rnd, memory = random.Random(8), sample.Memory()
        for _ in range(20):
            place = rnd.uniform(0, step)
            window = [round((place + rnd.gauss(0, noise)) / step) * step for _ in range(15)]
            memory = memory.after(window)
        return sample.resolution_variance([0.0] * 15, step, memory) / (step**2 / 12)

    assert left(0.5 * step) < 0.05
    assert left(0.02 * step) > 0.7


def test_what_rounding_leaves_is_as_simulated() -> None:
    rnd, step, noise = random.Random(9), 1.0, 0.25
    squares = []
    for _ in range(300):
        place = rnd.uniform(0, step)
        squares.append((sample.mean([round(place + rnd.gauss(0, noise)) for _ in range(400)]) - place) ** 2)
    assert sample.mean(squares) - noise**2 / 400 == pytest.approx(sample.rounding_left(noise, step), rel=0.25)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_steps_of_the_mean_between_windows_are_as_expected(rho: float) -> None:
    rnd, x = random.Random(4), 0.0
    stepped = power = 0.0
    for _ in range(3000):
        run = [x := rho * x + math.sqrt(1 - rho**2) * rnd.gauss(0, 1) for _ in range(30)]
        stepped += (sample.mean(run[15:]) - sample.mean(run[:15])) ** 2
        power += (sample.variance(run[15:]) + sample.variance(run[:15])) / 2
    assert stepped / power == pytest.approx(sample.step_expected(rho, 15), rel=0.06)


def test_a_forced_reading_of_a_hose_that_is_known_carries_only_what_is_left_of_its_swing() -> None:
    settler = Settler(Rule(damping_s=0.4))
    for i in range(40):
        settler.feed(i / 10, 0.2 if i < 20 else 0.2 * math.exp(-(i / 10 - 2) / 0.4) * math.cos(3 * (i / 10 - 2)))
    forced = settler.force(2.95)
    assert forced is not None
    assert 0.25 < forced.u_m / (0.2 * math.exp(-1.0 / 0.4)) < 1.5


@pytest.mark.parametrize("damping_s", [0.0, 0.05, 0.3])
@pytest.mark.parametrize("burst", [2, 5, 10])
def test_readings_that_arrive_in_bursts_share_a_time_and_teach_all_the_same(burst: int, damping_s: float) -> None:
    settler = Settler(Rule())
    for i in range(1, 1200):
        moved_s = (i - 1) * 0.02 % 6.0  # in the middle of a burst
        swing = math.exp(-moved_s / damping_s) * math.cos(9.0 * moved_s) if damping_s else 0.0
        rest_m = 1.4 if (i - 1) // 300 % 2 else 1.0
        settler.feed(i // burst * burst * 0.02, rest_m - 0.4 * swing + 0.0001 * (i % 3))
        found = settler.take(21.0)
    assert found is not None
    assert found.height_m == pytest.approx(1.4, abs=2e-3)
    assert 0.0 < found.u_m < 0.002


@pytest.mark.parametrize("damping_s", [0.0, 1.0])
@pytest.mark.parametrize("before", [70, 130, 820])
def test_a_window_that_a_silence_divides_is_taken_in_whole(before: int, damping_s: float) -> None:
    settler = Settler(Rule(damping_s=damping_s))
    for i in range(before + 4000):
        silent_s = 60.0 if i >= before else 0.0
        settler.feed(i / 200 + silent_s, 1.0 + 0.0001 * (i % 3))
        found = settler.take(before / 200 + 60.0)
    assert found is not None
    assert found.height_m == pytest.approx(1.0001, abs=1e-5)
