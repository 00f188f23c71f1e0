"""What all tests share."""

import numpy as np
import pytest


@pytest.fixture
def rng() -> np.random.Generator:
    """Randomness that is the same in each run."""
    return np.random.default_rng(20260301)
