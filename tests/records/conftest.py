"""A history in a folder of its own, and an alarm to write into it."""

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeAlias

import pytest

from beepwatch.events import Alarm
from beepwatch.records.store import Store

Rows: TypeAlias = list[tuple[object, ...]]


@pytest.fixture
def evening() -> datetime:
    return datetime(2026, 3, 1, 21, 0, tzinfo=UTC)


@pytest.fixture
def lead() -> Alarm:
    return Alarm(
        number=1, pattern="lead-disconnect", priority="high", onset=100.0, raised=111.5, ended=None,
        last=111.2, beeps=3, duration=1.2, period=5.0, frequency=2730.0, confidence=0.98,
        why="3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz",
    )  # fmt: skip


@pytest.fixture
def over(lead: Alarm) -> Alarm:
    """The same alarm when it is over."""
    return replace(lead, beeps=40, last=296.2, ended=296.2)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = Store(tmp_path, timeout=0.05)
    yield store
    store.close()


@pytest.fixture
def ask(store: Store) -> Callable[[str], Rows]:
    """Another program's view of the file, by plain SQL."""

    def rows(question: str) -> Rows:
        other = sqlite3.connect(store.path)
        try:
            return other.execute(question).fetchall()
        finally:
            other.close()

    return rows
