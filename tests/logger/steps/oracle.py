"""The layout problem said again from its definition, apart from the solver: by enumeration, and as a flow in a network.

Nothing here is imported from the program. Areas are split at ground points and at crossings found as roots; heights
follow the formulas for f and R; the network is handed to HiGHS through scipy.
"""

import itertools
import math
from bisect import bisect_right
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array

TINY = 1e-6


@dataclass
class Case:
    """One brief on one ground, in metres; `tread` and `landing` are whole cells of `grid`."""

    ground: list[tuple[float, float]]
    start: float
    run: float
    rise: float
    foot: float
    n: int
    grid: float
    tread: int
    landing: int
    top_is_grade: bool = False
    step: int = 1
    p: float = 0.0
    q: float = 0.0
    nosing: bool = False
    most: int = 0
    least: int = 1
    weights: tuple[float, float] = (1.0, 2.0)
    wishes: list[tuple[float, float]] = field(default_factory=list)
    zones: list[tuple[float, float]] = field(default_factory=list)

    @property
    def depths(self) -> int:
        return self.n - 1 if self.top_is_grade else self.n


def ground_at(case: Case, x: float) -> float:
    xs = [a for a, _ in case.ground]
    if x <= xs[0]:
        return case.ground[0][1]
    if x >= xs[-1]:
        return case.ground[-1][1]
    i = bisect_right(xs, x) - 1
    (x0, z0), (x1, z1) = case.ground[i], case.ground[i + 1]
    return z0 + (z1 - z0) * (x - x0) / (x1 - x0)


def area(case: Case, x0: float, x1: float, height: float, slope: float) -> float:
    """Weighted area between ground and a straight surface from x0 (station) to x1."""
    cuts = sorted({x0, x1} | {x for x, _ in case.ground if x0 < x < x1})
    total = 0.0
    for a, b in itertools.pairwise(cuts):
        ga = ground_at(case, a) - (height + slope * (a - x0))
        gb = ground_at(case, b) - (height + slope * (b - x0))
        root = a + (b - a) * ga / (ga - gb) if ga * gb < 0 else None
        pieces = [(a, ga, b, gb)] if root is None else [(a, ga, root, 0.0), (root, 0.0, b, gb)]
        for u, gu, v, gv in pieces:
            trapezoid = (gu + gv) / 2 * (v - u)
            total += case.weights[0] * trapezoid if trapezoid > 0 else -case.weights[1] * trapezoid
    return total


def faces(case: Case, landing_sum: float, flights: int) -> tuple[float, float]:
    """First face of a flight and every other."""
    climbed = case.rise - case.p * (case.run - landing_sum) - case.q * landing_sum
    if not case.nosing:
        return climbed / case.n, climbed / case.n
    tread = case.tread * case.grid
    rise = (climbed + (case.n - flights) * case.p * tread) / case.n
    return rise, rise - case.p * tread


def allowed(case: Case, x: float, depth: float, is_landing: bool) -> bool:
    """Whether a depth from x (counted from the foot) keeps the wishes and zones."""
    for at, least in case.wishes:
        if x <= at + TINY < x + depth and (not is_landing or depth < least - TINY):
            return False
    return not (is_landing and any(x < b - TINY and x + depth > a + TINY for a, b in case.zones))


def enumerate_all(case: Case) -> tuple[float, int, tuple[float, ...]] | None:
    """Least fit over every sequence of depths, with fewest landings and lowest faces among equals."""
    cells = case.run / case.grid
    whole = math.floor(cells + TINY / case.grid)
    rest = case.run - whole * case.grid
    rest = rest if rest > TINY else 0.0
    found = []

    def grow(sequence: list[int]) -> None:
        left = whole - sum(sequence)
        if len(sequence) == case.depths:
            if left == 0:
                found.append(_measured(case, sequence, rest))
            return
        if left < case.tread:
            return
        grow([*sequence, case.tread])
        for depth in range(case.landing, left + 1, case.step):
            grow([*sequence, depth])

    grow([])
    complete = [f for f in found if f is not None]
    if not complete:
        return None
    best = min(fit for fit, _, _ in complete)
    return min((f for f in complete if f[0] <= best + 1e-12), key=lambda f: (f[1], f[2]))


def _measured(case: Case, sequence: list[int], rest: float) -> tuple[float, int, tuple[float, ...]] | None:
    landings = [depth != case.tread for depth in sequence]
    sizes = [depth * case.grid for depth in sequence]
    if rest:
        if any(landings):
            sizes[max(i for i, landing in enumerate(landings) if landing)] += rest
        elif not case.top_is_grade:
            sizes[-1] += rest
        else:
            return None
    runs, count = [], 0
    for k in range(case.n):
        count += 1
        if k == case.n - 1 or landings[k]:
            runs.append(count)
            count = 0
    if (case.most and max(runs) > case.most) or min(runs) < case.least:
        return None
    first, other = faces(case, sum(s for s, landing in zip(sizes, landings, strict=True) if landing), len(runs))
    x, height, fit, stations, new = 0.0, case.foot, 0.0, [], True
    for k in range(case.n):
        height += first if new else other
        stations.append(round(x, 6))
        if k < len(sizes):
            if not allowed(case, x, sizes[k], landings[k]):
                return None
            slope = case.q if landings[k] else case.p
            fit += area(case, case.start + x, case.start + x + sizes[k], height, slope)
            height += slope * sizes[k]
            x += sizes[k]
            new = landings[k]
    return fit, sum(landings), tuple(stations)


@dataclass
class Network:
    """Arcs of all layouts with given faces and, where it matters, a given number of landings."""

    arcs: list[tuple[int, int, float]]
    nodes: int


def network(case: Case, first: float, other: float, landings: int | None, flights: int | None) -> Network | None:
    """Node 0 is the foot, node 1 the end; in between (riser, cells passed, landings passed, risers of the flight)."""
    whole = round(case.run / case.grid)
    names: dict[tuple[int, int, int, int], int] = {(1, 0, 0, 1): 0}
    todo = [(1, 0, 0, 1)]
    arcs: list[tuple[int, int, float]] = []
    track = landings is not None

    def node(state: tuple[int, int, int, int]) -> int:
        if state not in names:
            names[state] = len(names) + 1
            todo.append(state)
        return names[state]

    def ends_well(m: int, flight_count: int) -> bool:
        return not track or (m == landings and flight_count == flights)

    while todo:
        state = todo.pop()
        k, j, m, r = state
        here, x = names[state], j * case.grid
        if case.top_is_grade and k == case.n:
            if j == whole and r >= case.least and ends_well(m, m + 1):
                arcs.append((here, 1, 0.0))
            continue
        passed = (k - 1 - m) * case.tread * case.grid if track else x
        floor = case.foot + case.p * passed + case.q * (x - passed) if track else case.foot + case.p * x
        height = floor + ((m + 1) * first + (k - m - 1) * other if track else k * first)
        for cells in [case.tread, *range(case.landing, whole - j + 1, case.step)]:
            is_landing, end = cells != case.tread, j + cells
            if end > whole or (case.depths - k) * case.tread > whole - end:
                continue
            if (is_landing and r < case.least) or not allowed(case, x, cells * case.grid, is_landing):
                continue
            if not is_landing and k < case.n and case.most and r + 1 > case.most:
                continue
            slope = case.q if is_landing else case.p
            cost = area(case, case.start + x, case.start + end * case.grid, height, slope)
            mm = m + is_landing if track else 0
            if k == case.n:
                if end == whole and r >= case.least and ends_well(mm, mm + (not is_landing)):
                    arcs.append((here, 1, cost))
            else:
                rr = 1 if is_landing else min(r + 1, case.most or case.least)
                arcs.append((here, node((k + 1, end, mm, rr)), cost))
    return Network(arcs, len(names) + 1) if any(b == 1 for _, b, _ in arcs) else None


def shortest(net: Network, *, integers: bool = False) -> float | None:
    """Cost of the cheapest flow of one unit from foot to end, by HiGHS."""
    count = len(net.arcs)
    rows = [a for a, _, _ in net.arcs] + [b for _, b, _ in net.arcs]
    values = [1.0] * count + [-1.0] * count
    matrix = coo_array((values, (rows, [*range(count), *range(count)])), shape=(net.nodes, count)).tocsr()
    supply = np.zeros(net.nodes)
    supply[0], supply[1] = 1.0, -1.0
    cost = np.array([c for _, _, c in net.arcs])
    if integers:
        done = milp(cost, constraints=LinearConstraint(matrix, supply, supply), integrality=1, bounds=Bounds(0, 1),
                    options={"mip_rel_gap": 0.0})  # fmt: skip
    else:
        done = linprog(cost, A_eq=matrix, b_eq=supply, bounds=(0, 1), method="highs")
    return float(done.fun) if done.status == 0 else None


def general_solver(case: Case, *, integers: bool = False) -> float | None:
    """Least fit by HiGHS over every number of landings and flights; None where there is no layout."""
    tread, spare = case.tread * case.grid, round(case.run / case.grid) - case.depths * case.tread
    if spare < 0:
        return None
    if not case.nosing and case.p == case.q:
        pairs: list[tuple[int | None, int | None]] = [(None, None)]
    else:
        pairs = [(m, f) for m in range(case.depths + 1) for f in (m, m + 1) if f >= 1]
    best = None
    for landings, flights in pairs:
        total = 0.0 if not landings else case.run - (case.depths - landings) * tread
        first, other = faces(case, total, flights or 1)
        net = network(case, first, other, landings, flights)
        value = None if net is None else shortest(net, integers=integers)
        if value is not None and (best is None or value < best):
            best = value
    return best
