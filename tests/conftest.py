"""What all tests share."""

import os
from pathlib import Path

import numpy as np
import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling


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
    if (cache := getattr(config, "cache", None)) is not None:  # none with `-p no:cacheprovider`
        os.environ["NUMBA_CACHE_DIR"] = str(cache.mkdir(f"numba-{os.environ.get('PYTEST_XDIST_WORKER', 'one')}"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The live tests, which mostly wait, come first."""
    items.sort(key=lambda item: item.get_closest_marker("live") is None)


class Shares(LoadScopeScheduling):  # type: ignore[misc]
    """What goes to one process as a whole: all live tests, and each file of the others."""

    def _split_scope(self, nodeid: str) -> str:
        """The share of a test. Named groups (`--dist loadgroup`) are lost on pytest 9.2 with xdist 3.8 (measured)."""
        return "live" if nodeid.startswith("tests/live/") else nodeid.split("::", maxsplit=1)[0]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Producer) -> Shares:
    """How several processes share the tests."""
    return Shares(config, log)
