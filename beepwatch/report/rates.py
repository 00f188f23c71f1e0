"""Counts in time: exact intervals of a Poisson rate and of the ratio of two. Pure.

They take it that alarms come each by itself, so alarms close together are counted as one occasion before (see
`clusters`).
"""

import math
from dataclasses import dataclass

LEVEL = 0.95
"""Of every interval."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """How often now, against before."""

    ratio: float
    """inf where there were none before, nan where there were none at all."""
    low: float
    high: float


def rate(count: int, hours: float, per: float = 100.0) -> tuple[float, float, float]:
    """(rate, low, high) of events in `per` hours: Garwood's exact interval (Biometrika 28, 1936, quoted).

    hours: over 0.
    """
    from scipy.special import gammaincinv  # noqa: PLC0415 - scipy.stats would take a second to load

    tail = (1 - LEVEL) / 2
    low = float(gammaincinv(count, tail)) if count else 0.0
    high = float(gammaincinv(count + 1, 1 - tail))
    return count / hours * per, low / hours * per, high / hours * per


def ratio(now: int, now_hours: float, before: int, before_hours: float) -> Ratio:
    """The ratio of two Poisson rates, with its exact interval. Hours: over 0.

    Given their sum, the count of now is binomial, and its odds are the ratio times the hours' (Przyborowski and
    Wilenski, Biometrika 31, 1940, quoted); the interval of its share is Clopper and Pearson's (Biometrika 26, 1934,
    quoted).
    """
    from scipy.special import betaincinv  # noqa: PLC0415

    total, tail, scale = now + before, (1 - LEVEL) / 2, before_hours / now_hours
    if not total:
        return Ratio(math.nan, 0.0, math.inf)
    low = float(betaincinv(now, before + 1, tail)) if now else 0.0
    high = float(betaincinv(now + 1, before, 1 - tail)) if before else 1.0
    return Ratio(_odds(now / total) * scale, _odds(low) * scale, _odds(high) * scale)


def _odds(share: float) -> float:
    return math.inf if share >= 1 else share / (1 - share)
