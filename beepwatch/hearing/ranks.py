"""Quantiles and medians of short arrays, and borders of equal parts: numpy's values to the bit, quicker."""

from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .spectrum import Doubles

Number = TypeVar("Number", np.float32, np.float64)


def quantile(values: Doubles, share: float) -> float:
    """As np.quantile of an array (n,), n > 0, without NaN: straight lines between its sorted values."""
    place = (len(values) - 1) * share
    low = int(place)
    if low + 1 >= len(values):
        return float(values.max())
    part = np.partition(values, (low, low + 1))
    one, other, gone = float(part[low]), float(part[low + 1]), place - low
    return other - (other - one) * (1 - gone) if gone >= 0.5 else one + (other - one) * gone


def median(values: NDArray[Number]) -> Number:
    """As np.median of an array (n,), n > 0, without NaN."""
    middle = len(values) // 2
    if len(values) % 2:
        odd: Number = np.partition(values, middle)[middle]
        return odd
    part = np.partition(values, (middle - 1, middle))
    even: Number = (part[middle - 1] + part[middle]) / values.dtype.type(2)
    return even


@lru_cache(maxsize=2048)
def cuts(n: int, count: int) -> NDArray[np.int64]:
    """Borders of `count` nearly equal parts of n places, (count + 1,): not to be written to."""
    borders = np.linspace(0, n, count + 1).astype(np.int64)
    borders.flags.writeable = False
    return borders
