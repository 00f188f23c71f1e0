"""Stream time on two clocks: through jitter, drift, a clock that is set and a change of summer time."""

import os
import time
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest

from beepwatch.watch.timeline import Timeline
from tests.watch.hand import BEGAN, HandClock


@pytest.fixture
def berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The zone of a household that changes to summer time on 29 March 2026 at 01:00 UTC."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    os.environ.pop("TZ", None)
    time.tzset()


def test_jitter_of_blocks_moves_no_time() -> None:
    """Blocks that come up to 0.2 s late do not shift what was told before."""
    hand = HandClock()
    timeline = Timeline(hand.clock)
    timeline.anchor(0.1, 1000.1)
    before = timeline.wall(5.0)
    hand.now = 1010.2
    timeline.anchor(10.0, 1010.2)
    assert timeline.wall(5.0) == before == BEGAN + timedelta(seconds=5)


def test_drift_of_the_sound_card_is_followed() -> None:
    """After a night on a card that is 100 ppm slow, the wall time is right to half a second."""
    hand = HandClock()
    timeline = Timeline(hand.clock)
    for second in range(1, 36_000):
        hand.now = 1000.0 + second
        timeline.anchor(second * (1 - 100e-6), hand.now)
    assert abs((timeline.wall(35_999 * (1 - 100e-6)) - hand.wall()).total_seconds()) < 0.51


def test_a_clock_that_is_set_is_told_once() -> None:
    """`anchor` says by how much; afterwards times are by the new clock."""
    hand = HandClock()
    timeline = Timeline(hand.clock)
    timeline.anchor(0.1, 1000.1)
    hand.set_by = -90.0
    assert timeline.anchor(0.2, 1000.2) == pytest.approx(-90.0)
    assert timeline.anchor(0.3, 1000.3) == 0.0
    assert timeline.wall(60.0) == BEGAN - timedelta(seconds=30)


@pytest.mark.usefixtures("berlin")
def test_each_time_has_the_offset_of_its_own_hour() -> None:
    """Through the change to summer time: two moments an hour apart, each with the offset of its hour."""
    hand = HandClock()
    hand.set_by = (datetime.fromisoformat("2026-03-29T00:30:00Z") - BEGAN).total_seconds()
    timeline = Timeline(hand.clock)
    timeline.anchor(0.1, 1000.1)
    before, after = timeline.wall(0.0), timeline.wall(3600.0)
    assert [moment.isoformat() for moment in (before, after)] == [
        "2026-03-29T01:30:00+01:00",
        "2026-03-29T03:30:00+02:00",
    ]


def test_a_recording_is_told_as_if_it_had_ended_just_now() -> None:
    """No block has a time of arrival: the stream lies before the moment it was opened."""
    timeline = Timeline(HandClock().clock, length=300.0)
    assert timeline.wall(300.0) == BEGAN
    assert timeline.wall(0.0) == BEGAN - timedelta(seconds=300)
