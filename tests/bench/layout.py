"""How long a layout takes beside a general solver on the same exact problem, and how that grows.

    python tests/bench/layout.py [rounds] [--others]

Prints medians of paired rounds (ours, theirs, ours, theirs): one count of 14 risers over 280 in on half an inch, as a
flow in a network handed to HiGHS, and with --others the same with integer arcs and, where ortools is installed, by
CP-SAT; then all counts of a garden job, 100 m and 25 m on 10 mm with and without a flight limit, and the growth with
risers times grid cells.
"""

import importlib
import importlib.util
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from types import ModuleType
from typing import Any

import numpy as np

from logger.profile import Profile, ProfilePoint
from logger.steps.brief import brief_of
from logger.steps.fit import Lattice, Line
from logger.steps.problem import EqualRisers, Problem
from logger.steps.search import best_layout
from logger.steps.solve import solve

INCH = 0.0254
HALF = INCH / 2


def oracle() -> ModuleType:
    """The problem said again, from the tests."""
    path = Path(__file__).parents[1] / "logger" / "steps" / "oracle.py"
    spec = importlib.util.spec_from_file_location("steps_oracle", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["steps_oracle"] = module
    spec.loader.exec_module(module)
    return module


def seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def timed(work: Callable[[], object], times: int) -> str:
    """Medians of the clock on the wall and of the processor's own, which a busy machine disturbs less."""
    wall, processor = [], []
    for _ in range(times):
        begin = time.process_time()
        wall.append(seconds(work))
        processor.append(time.process_time() - begin)
    return f"{median(wall) * 1e3:.2f} ms, {median(processor) * 1e3:.2f} ms of them computing"


def ground(length: float, rise: float, points: int) -> Profile:
    rng = np.random.default_rng(0)
    x = np.linspace(0, length, points)
    z = rise * x / length + rng.normal(0, 0.04, points)
    return Profile(tuple(ProfilePoint(float(a), 0.0, float(b), 0.001) for a, b in zip(x, z, strict=True)))


def one_count(profile: Profile, run: float, risers: int, cell: float) -> float:
    """One count, the ground cut afresh."""
    line = Line(profile.ground(), 0.0)
    tread = round(14 * INCH / cell)
    rise = line.elevations_m[-1] - line.elevations_m[0]
    problem = Problem(line, rise, run, float(line.elevations_m[0]), risers, False, tread * cell, cell, tread,
                      round(36 * INCH / cell), fall=0.01, landing_fall=0.01)  # fmt: skip
    lattice = Lattice(line, cell, problem.searched * tread + problem.excess, problem.weights)
    layout = best_layout(problem, lattice, EqualRisers(problem, lambda heights: True))
    assert layout is not None
    return layout.fit_m2


def beside_a_general_solver(rounds: int, others: bool) -> None:
    """Ours and theirs in turn; both must say the same fit."""
    profile, said = ground(280 * INCH, 2.1, 22), oracle()
    points = [(p.station_m, p.elevation_m) for p in profile.points]
    case = said.Case(ground=points, start=0.0, run=280 * INCH, rise=points[-1][1] - points[0][1], foot=points[0][1],
                     n=14, grid=HALF, tread=28, landing=72, p=0.01, q=0.01)  # fmt: skip
    first, other = said.faces(case, 0.0, 1)
    net = said.network(case, first, other, None, None)
    ours: list[float] = []
    theirs: list[float] = []
    fits: list[Any] = []
    for _ in range(rounds):
        ours.append(seconds(lambda: fits.append(one_count(profile, 280 * INCH, 14, HALF))))
        theirs.append(seconds(lambda: fits.append(said.shortest(net))))
    assert max(fits) - min(fits) < 1e-9
    print(f"one count, 14 risers over 280 in on 1/2 in: {median(ours) * 1e3:.2f} ms; HiGHS on the network of "
          f"{len(net.arcs)} arcs, building it not counted: {median(theirs) * 1e3:.0f} ms; "
          f"ratio {median(theirs) / median(ours):.0f}")  # fmt: skip
    if others:
        took = seconds(lambda: fits.append(said.shortest(net, integers=True)))
        print(f"the same with integer arcs (HiGHS, mixed integer): {took:.2f} s; ratio {took / median(ours):.0f}")
        if importlib.util.find_spec("ortools") is None:
            print("CP-SAT: ortools is not installed here")
        else:
            took = seconds(lambda: fits.append(by_constraints(net)))
            print(f"the same arcs by CP-SAT: {took:.2f} s; ratio {took / median(ours):.0f}")
        assert max(fits) - min(fits) < 1e-6


def by_constraints(net: Any) -> float:
    """The cheapest flow by CP-SAT, which counts in whole units: nanometres squared would not fit, 1e-9 m2 do."""
    model_of: Any = importlib.import_module("ortools.sat.python.cp_model")
    model = model_of.CpModel()
    arcs = [model.new_bool_var("") for _ in net.arcs]
    leaving: dict[int, list[Any]] = {}
    for variable, (begin, end, _) in zip(arcs, net.arcs, strict=True):
        leaving.setdefault(begin, []).append(variable)
        leaving.setdefault(end, []).append(-variable)
    for node, flow in leaving.items():
        model.add(sum(flow) == (1 if node == 0 else -1 if node == 1 else 0))
    model.minimize(sum(round(cost * 1e9) * variable for variable, (_, _, cost) in zip(arcs, net.arcs, strict=True)))
    solver = model_of.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == model_of.OPTIMAL
    return float(solver.objective_value) / 1e9


def whole_jobs(rounds: int) -> None:
    """All counts, findings and words of whole briefs."""
    garden = {"run": "280 in", "tread": "14 in", "landing": "36 in"}
    long = {"tread": "0.40 m", "landing": "1.2 m", "grid": "1 cm", "riser_min": "0.11 m", "riser_max": "0.20 m"}
    jobs: list[tuple[str, Profile, dict[str, object], int]] = [
        ("garden, 280 in", ground(280 * INCH, 2.1, 22), {**garden}, rounds),
        ("garden, nosings equal", ground(280 * INCH, 2.1, 22), {**garden, "equal": "nosing"}, rounds),
        ("garden, landings fall apart", ground(280 * INCH, 2.1, 22), {**garden, "landing_fall": "2 %"}, rounds),
        ("100 m on 10 mm", ground(100.0, 20.0, 300), {**long}, 3),
        ("100 m on 10 mm, flights of 12", ground(100.0, 20.0, 300), {**long, "flight_risers": 12}, 3),
        ("25 m on 10 mm, nosings equal", ground(25.0, 5.0, 75), {**long, "equal": "nosing"}, 3),
        (
            "25 m, nosings equal, flights of 12",
            ground(25.0, 5.0, 75),
            {**long, "equal": "nosing", "flight_risers": 12},
            3,
        ),
        ("25 m, landings fall apart", ground(25.0, 5.0, 75), {**long, "landing_fall": "2 %"}, 3),
    ]
    for name, profile, fields, times in jobs:
        brief = brief_of({}, fields)
        answer = solve(profile, brief)
        counts = sorted(option.risers for option in answer.options)
        took = timed(lambda p=profile, b=brief: solve(p, b), times)
        print(f"{name}: {len(counts)} counts from {counts[0]} to {counts[-1]}: {took}")


def growth(rounds: int) -> None:
    """Time over risers times cells, for one count on longer and longer runs."""
    for times in (1, 2, 4, 8, 16):
        run, risers = times * 280 * INCH, times * 14
        profile = ground(run, 2.1 * times, 22 * times)
        spent = []
        for _ in range(rounds):
            begin = time.process_time()
            one_count(profile, run, risers, HALF)
            spent.append(time.process_time() - begin)
        took, size = median(spent), risers * round(run / HALF)
        print(f"{risers} risers, {round(run / HALF)} cells: {took * 1e3:.2f} ms, {took / size * 1e9:.1f} ns each")


if __name__ == "__main__":
    told = [word for word in sys.argv[1:] if word.isdigit()]
    count = int(told[0]) if told else 15
    beside_a_general_solver(count, "--others" in sys.argv)
    whole_jobs(count)
    growth(count)
