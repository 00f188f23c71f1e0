"""Exact intervals, against a textbook's worked example, a published table and scipy's own tests."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, poisson

from beepwatch.report.rates import rate, ratio


def test_the_textbooks_worked_example() -> None:
    """Lung cancer in Fredericia against three other Danish cities, ages 55-59: 11 in 800 person-years to 21 in 3011.

    Dalgaard, Introductory Statistics with R (data `eba1977` of its package ISwR), worked in R's manual of
    `poisson.test`; the printed answer 1.971488 (0.8584264 to 4.2772659) is from memory.
    """
    found = ratio(11, 800, 6 + 8 + 7, 1083 + 1050 + 878)
    assert found.ratio == pytest.approx(1.971488, abs=5e-7)
    assert (found.low, found.high) == pytest.approx((0.8584264, 4.2772659), abs=5e-8)


@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.69), (1, 0.03, 5.57), (5, 1.62, 11.67), (10, 4.80, 18.39), (20, 12.22, 30.89)]
)
def test_the_limits_of_a_single_count_are_the_published_ones(count: int, low: float, high: float) -> None:
    """Garwood's limits as tables of 95 % Poisson limits print them (from memory), to their last figure."""
    told = rate(count, 100.0)
    assert [round(figure, 2) for figure in told] == [count, low, high]


@given(st.integers(0, 300), st.integers(0, 300), st.floats(1, 5000), st.floats(1, 5000))
def test_the_ratio_is_scipys_exact_binomial(now: int, before: int, hours: float, old: float) -> None:
    """`binomtest(...).proportion_ci("exact")` of the share, as odds times the hours: another route to the same."""
    found = ratio(now, hours, before, old)
    if not now + before:
        assert math.isnan(found.ratio)
        return
    share = binomtest(now, now + before).proportion_ci(0.95, "exact")
    for ours, theirs in ((found.low, share.low), (found.high, share.high)):
        expected = math.inf if theirs >= 1 else theirs / (1 - theirs) * old / hours
        assert ours == pytest.approx(expected, rel=1e-6, abs=1e-12)
    assert found.low <= found.ratio <= found.high


@given(st.integers(1, 500), st.floats(1, 5000))
def test_each_limit_leaves_one_fortieth(count: int, hours: float) -> None:
    """By definition: were the rate at a limit, so few or so many would come once in 40 times (scipy.stats.poisson)."""
    _, low, high = rate(count, hours, per=1.0)
    assert poisson.sf(count - 1, low * hours) == pytest.approx(0.025, rel=1e-6)
    assert poisson.cdf(count, high * hours) == pytest.approx(0.025, rel=1e-6)


def test_none_before_has_no_upper_end() -> None:
    """And none now no lower one."""
    first, none = ratio(4, 100, 0, 100), ratio(0, 100, 4, 100)
    assert math.isinf(first.ratio)
    assert math.isinf(first.high)
    assert first.low > 0
    assert (none.ratio, none.low) == (0, 0)
    assert none.high == pytest.approx(1 / first.low)
