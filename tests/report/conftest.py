"""Reviews of invented histories, each made once."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from beepwatch.care.household import routines_of
from beepwatch.records.reading import History
from beepwatch.records.store import Store
from beepwatch.report.figures import Review
from beepwatch.report.gather import gather
from beepwatch.report.nights import Period
from beepwatch.report.review import Wanted, review
from beepwatch.settings.model import decode
from tests.invented import FIRST, LAST, ZONE, full, ordinary
from tests.records.hostile import HOSTILE

NOW = datetime(2026, 6, 1, tzinfo=UTC)
SETTINGS = decode('[care]\nbattery = "yes"\nhours-a-day = 11\nexit-site = "yes"\n')
EVERYTHING = Wanted(notes=True)


def reviewed(folder: Path, wanted: Wanted = EVERYTHING, person: str = "Sam", now: datetime = NOW) -> Review:
    """The period of `tests.invented`."""
    with History(folder) as history:
        told = gather(history, Period(FIRST, LAST, ZONE), now)
    return review(told, routines_of(SETTINGS), person, wanted)


def made(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    folder = factory.mktemp(name)
    make(folder)
    return folder


@pytest.fixture(scope="session")
def ordinary_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory, "ordinary", lambda folder: ordinary(folder, notes=("the plug had slipped", "ok")))


@pytest.fixture(scope="session")
def ordinary_review(ordinary_folder: Path) -> Review:
    return reviewed(ordinary_folder)


@pytest.fixture(scope="session")
def full_review(tmp_path_factory: pytest.TempPathFactory) -> Review:
    return reviewed(made(tmp_path_factory, "full", full))


@pytest.fixture(scope="session")
def empty_review(tmp_path_factory: pytest.TempPathFactory) -> Review:
    return reviewed(made(tmp_path_factory, "empty", lambda folder: Store(folder).close()))


@pytest.fixture(scope="session")
def hostile_review(tmp_path_factory: pytest.TempPathFactory, ordinary_review: Review) -> Review:
    """Notes, names and evidence that someone might write to do harm."""
    worst = reviewed(
        made(tmp_path_factory, "hostile", lambda folder: ordinary(folder, notes=HOSTILE)), person="<b>'=1+1" * 7
    )
    high = [
        replace(one, alarm=replace(one.alarm, answered_by=bad[:60], state=replace(one.alarm.state, why=bad)))
        for one, bad in zip(worst.high, HOSTILE, strict=False)
    ]
    return replace(worst, high=tuple(high))
