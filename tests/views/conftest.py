"""One history for all tests that only read it."""

from pathlib import Path

import pytest

from tests.views.shelf import shelf


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    """The folder of a history, and the number of the alarm that has everything."""
    folder = tmp_path_factory.mktemp("shelf")
    return folder, shelf(folder)
