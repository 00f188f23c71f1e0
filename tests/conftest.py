"""What all tests share."""

import os
from pathlib import Path

import numpy as np
import pytest


@pytest.fixture(autouse=True)
def no_settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own for the settings, in this process and in those that it starts: none of this machine's."""
    folder = tmp_path_factory.mktemp("config")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(folder))
    return folder / "beepwatch"


@pytest.fixture
def rng() -> np.random.Generator:
    """Randomness that is the same in each run."""
    return np.random.default_rng(20260301)


def pytest_configure(config: pytest.Config) -> None:
    """A folder for each process in which numba, which librosa stands on, keeps what it compiles.

    Two processes that fill the same one at the same time may crash (measured: 1 of 17 pairs).
    """
    assert config.cache is not None
    os.environ["NUMBA_CACHE_DIR"] = str(config.cache.mkdir(f"numba-{os.environ.get('PYTEST_XDIST_WORKER', 'one')}"))


@pytest.hookimpl(tryfirst=True)  # before xdist reads the groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Where tests are shared out among processes: the live ones, which mostly wait, first and in one; files whole."""
    items.sort(key=lambda item: item.get_closest_marker("live") is None)
    for item in items:
        live = item.get_closest_marker("live") is not None
        item.add_marker(pytest.mark.xdist_group("live" if live else item.path.as_posix()))
