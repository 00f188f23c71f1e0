"""The page as a step of the ladder: delivered only when a page in front of somebody said so."""

import time
from pathlib import Path
from queue import SimpleQueue

import pytest

from beepwatch.board.board import Board
from beepwatch.channels.way import Alert, Tried
from beepwatch.page import way
from beepwatch.page.pairing import Pairing
from beepwatch.page.watchers import Watchers
from tests.page.house import REST


class Ladder:
    """One way and its reports."""

    def __init__(self, folder: Path, *names: str) -> None:
        self.board, self.watchers = Board(), Watchers(time.monotonic)
        self.board.post(REST)
        pairing = Pairing(folder)
        for name in names:
            assert pairing.exchange(pairing.new_code(1.0), name, "phone", 1.0)
        self.reports: SimpleQueue[Tried] = SimpleQueue()
        self.way = way.PageWay(self.board, self.watchers, pairing, self.reports.put, lambda: 42.0)

    def tried(self, to: str) -> Tried:
        """What came of one alert."""
        self.way.alert(Alert((1,), "lead-disconnect", "high", "title", ("line",), drill=False, to=to))
        return self.reports.get(timeout=10)

    def shows(self, number: int, name: str, *, visible: bool = True) -> None:
        """A page's word."""
        self.watchers.confirm("r1:1", name, number, visible=visible, sounding=visible)


@pytest.fixture(autouse=True)
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wait less for what does not come."""
    monkeypatch.setattr(way.PageWay, "_wait", 0.2)


def test_shown_is_delivered(tmp_path: Path) -> None:
    """With the name of who has the page in front."""
    ladder = Ladder(tmp_path, "Anna")
    ladder.shows(1, "Anna")
    assert ladder.tried("Anna") == Tried("page", "Anna", 1, True, "shown on the page of Anna", 42.0)


def test_nobody_is_not(tmp_path: Path) -> None:
    """No page, or one in the background."""
    ladder = Ladder(tmp_path, "Anna")
    ladder.shows(1, "Anna", visible=False)
    told = ladder.tried("Anna")
    assert not told.ok
    assert "no page of Anna" in told.detail


def test_her_own_phone_has_to_show_it(tmp_path: Path) -> None:
    """Ben's page does not count for Anna while Anna has one; for somebody without one any page does."""
    ladder = Ladder(tmp_path, "Anna", "Ben")
    ladder.shows(2, "Ben")
    assert not ladder.tried("anna").ok
    assert ladder.tried("Clara").ok
    assert ladder.tried("").ok


def test_an_old_word_does_not_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that was closed since has not confirmed for some seconds."""
    monkeypatch.setattr(way, "OLD", -1.0)
    ladder = Ladder(tmp_path, "Anna")
    ladder.shows(1, "Anna")
    assert not ladder.tried("Anna").ok
