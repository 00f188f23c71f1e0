"""Quantiles, medians and borders: numpy's own values to the bit."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from beepwatch.hearing.ranks import cuts, median, quantile

VALUES = st.lists(st.floats(-1e6, 1e6, width=32), min_size=1, max_size=40)


@given(values=VALUES, share=st.sampled_from([0.0, 0.25, 0.5, 0.75, 0.8, 1.0]))
def test_a_quantile_is_numpys(values: list[float], share: float) -> None:
    """Of any array without NaN, down to one value."""
    array = np.array(values)
    assert quantile(array, share) == np.quantile(array, share)


@given(values=VALUES)
def test_a_median_is_numpys(values: list[float]) -> None:
    """Of even and odd lengths, in single and in double precision."""
    double = np.array(values)
    single = double.astype(np.float32)
    assert median(double) == np.median(double)
    assert median(single) == np.median(single)


@given(n=st.integers(0, 5000), count=st.integers(1, 40))
def test_parts_are_nearly_equal(n: int, count: int) -> None:
    """They fill the whole, and their lengths differ by one at most."""
    borders = cuts(n, count)
    lengths = np.diff(borders)
    assert (borders[0], borders[-1], len(lengths)) == (0, n, count)
    assert lengths.max() - lengths.min() <= 1
