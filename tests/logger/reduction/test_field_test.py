"""The field test of an instrument and the distributions under it, against scipy and the standard's constants."""

import math
import random

import pytest
from scipy import stats

from logger.errors import WrongFile
from logger.reduction.distributions import chi_squared_quantile, chi_squared_share, fisher_quantile, student_quantile
from logger.reduction.field_test import evaluate, read_pairs


@pytest.mark.parametrize("freedom", [1, 2, 3, 10, 38, 250])
@pytest.mark.parametrize("share", [0.75, 0.95, 0.975, 0.999])
def test_quantiles_equal_scipy(freedom: int, share: float) -> None:
    assert chi_squared_quantile(share, freedom) == pytest.approx(stats.chi2.ppf(share, freedom), rel=1e-8)
    assert student_quantile(share, freedom) == pytest.approx(stats.t.ppf(share, freedom), rel=1e-8)
    assert fisher_quantile(share, freedom, 19) == pytest.approx(stats.f.ppf(share, freedom, 19), rel=1e-8)
    assert chi_squared_share(freedom * 1.3, freedom) == pytest.approx(stats.chi2.cdf(freedom * 1.3, freedom), abs=1e-12)


def test_student_two_sided_95_percent_as_in_the_guide() -> None:
    # JCGM 100:2008, table G.2.
    due = {1: 12.71, 5: 2.57, 10: 2.23, 20: 2.09, 50: 2.01}
    assert {n: round(student_quantile(0.975, n), 2) for n in due} == due


def test_constants_of_the_full_test_with_twenty_pairs_a_set() -> None:
    # ISO 17123-2 with 38 degrees of freedom: s <= 1.185 sigma, |delta| <= 0.640 s; 2.887 s for a kilometre run twice.
    rnd = random.Random(4)
    first, second = ([0.5 + rnd.gauss(0, 0.001) for _ in range(20)] for _ in range(2))
    result = evaluate(first, second, stated_m=0.001)
    assert result.freedom == 38
    assert result.questions[0].high == pytest.approx(0.001185, abs=5e-7)
    assert result.questions[-1].high == pytest.approx(0.640 * result.sigma_m, rel=1e-3)
    assert result.sigma_km_m == pytest.approx(2.887 * result.sigma_m, rel=1e-4)
    assert result.zero_difference_u_m == pytest.approx(result.sigma_m / math.sqrt(10))
    assert result.passed


def test_a_zero_that_differs_between_the_ends_and_a_worse_scatter_are_found() -> None:
    rnd = random.Random(5)
    first = [0.5 + rnd.gauss(0, 0.001) for _ in range(20)]
    shifted = [d + 0.002 for d in first]
    assert [q.passed for q in evaluate(first, shifted, stated_m=0.0005).questions] == [False, True, False]


def test_wrong_pairs_are_told_line_by_line() -> None:
    with pytest.raises(WrongFile) as caught:
        read_pairs("set,a_m,b_m\n1,1.0,x\n3,1,1\n", "pairs.csv")
    assert len(caught.value.mistakes) == 2
    with pytest.raises(WrongFile, match="no column b_m"):
        read_pairs("set,a_m\n", "pairs.csv")
    with pytest.raises(WrongFile, match="at least 3 pairs"):
        read_pairs("set,a_m,b_m\n1,1,2\n", "pairs.csv")
    with pytest.raises(WrongFile, match="line 2: write set 1 or 2"):
        read_pairs("a_m,b_m,set\n1,2\n", "pairs.csv")


def test_a_coarse_instrument_that_shows_one_difference_only_is_not_failed_by_the_rounding_of_floats() -> None:
    rows = [f"1,{n}.1,{n}.0" for n in (1, 1, 1)] + [f"2,{n}.3,{n}.2" for n in (1, 2, 2)]
    first, second = read_pairs("\n".join(["set,a_m,b_m", *rows]), "pairs.csv")
    assert set(first) != set(second), "differences of floats"
    result = evaluate(first, second, stated_m=0.001)
    assert result.passed
    assert "no scatter" in result.notes[-1]
