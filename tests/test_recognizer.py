"""The recogniser's door: shapes, types, lost samples and any split, from samples to alarms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from beepwatch.errors import SamplesError
from beepwatch.events import Beep, Event, Raised
from beepwatch.recognizer import RATE, SHORT_GAP, Recognizer
from beepwatch.synthesis import Tone
from tests.hearing.scenes import add, background, level

Samples = NDArray[np.float32]


def breaths(count: int = 6, seconds: float = 30.0) -> Samples:
    """Beeps as long as a breath, each 4 s, shape (n,)."""
    return add(background(seconds, 1), [Tone(2 + 4 * i, 1.2, 2600, level(5)) for i in range(count)])


WHOLE = breaths()
HOLED = WHOLE.copy()
HOLED[6 * RATE : 6 * RATE + 900] = np.nan
HOLED[round(15.2 * RATE) : round(17.9 * RATE)] = np.inf


def told(samples: Samples, cuts: list[int], channels: int = 1) -> list[Event]:
    """All events of `samples` pushed in pieces of `cuts`."""
    recognizer = Recognizer(channels)
    events: list[Event] = []
    first, turn = 0, 0
    while first < len(samples):
        events += recognizer.push(samples[first : first + cuts[turn % len(cuts)]])
        first += cuts[turn % len(cuts)]
        turn += 1
    return events + recognizer.flush()


def only_beeps(events: list[Event]) -> list[Beep]:
    """The beeps among them."""
    return [event for event in events if isinstance(event, Beep)]


CUTS = st.lists(st.integers(0, 50_000), min_size=1, max_size=10).filter(lambda cuts: sum(cuts) > 2000)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(cuts=CUTS)
def test_any_split_gives_the_beeps_and_alarms_of_the_whole(cuts: list[int]) -> None:
    """From samples to alarms, every event and its time are the same."""
    expected = told(WHOLE, [len(WHOLE)])
    assert any(isinstance(event, Raised) for event in expected)
    assert told(WHOLE, cuts) == expected


@pytest.mark.parametrize("cuts", [[48_000], [7 * RATE, 3 * RATE]])
def test_a_split_beside_lost_samples_changes_no_beep_and_no_alarm(cuts: list[int]) -> None:
    """Holes of NaN, long and short, cut at any block border."""
    expected = told(HOLED, [len(HOLED)])
    assert only_beeps(expected)
    assert only_beeps(told(HOLED, cuts)) == only_beeps(expected)


def test_samples_that_are_not_finite_count_as_lost() -> None:
    """NaN and infinity end a beep as `skip` does, and stream time goes on."""
    hole = slice(round(15.2 * RATE), round(17.9 * RATE))
    recognizer = Recognizer()
    events = recognizer.push(WHOLE[: hole.start]) + recognizer.skip(hole.stop - hole.start)
    assert recognizer.seconds == pytest.approx(17.9)
    events += recognizer.push(WHOLE[hole.stop :]) + recognizer.flush()
    holed = WHOLE.copy()
    holed[hole] = np.nan
    assert events == told(holed, [len(holed)])
    cut = next(beep for beep in only_beeps(events) if abs(beep.onset - 14) < 0.1)
    assert cut.end == pytest.approx(15.2, abs=0.05)


def test_a_short_gap_does_not_cut_a_beep() -> None:
    """Up to an eighth of a second of lost samples is bridged as a silence."""
    holed = WHOLE.copy()
    holed[round(14.5 * RATE) : round(14.5 * RATE) + SHORT_GAP] = np.nan
    events = only_beeps(told(holed, [len(holed)]))
    assert len(events) == 6
    assert events[3].duration == pytest.approx(1.2, abs=0.06)


def test_skipping_keeps_alarms_going() -> None:
    """Half a second lost between breaths does not end or rename the alarm."""
    recognizer = Recognizer()
    events = recognizer.push(WHOLE[: 9 * RATE]) + recognizer.skip(RATE // 2)
    events += recognizer.push(WHOLE[9 * RATE + RATE // 2 :]) + recognizer.flush()
    assert [event.alarm.pattern for event in events if isinstance(event, Raised)] == ["lead-disconnect"]


@pytest.mark.parametrize(
    ("channels", "bad"),
    [
        (1, np.zeros(100, np.float64)),
        (1, np.zeros((100, 2), np.float32)),
        (2, np.zeros(100, np.float32)),
        (2, np.zeros((2, 100), np.float32)),
        (1, np.zeros((10, 1, 1), np.float32)),
        (1, np.zeros((), np.float32)),
        (1, np.zeros(10, np.int16)),
    ],
)
def test_a_wrong_shape_or_type_raises_and_changes_nothing(channels: int, bad: Samples) -> None:
    """SamplesError names the shape or type; the stream then goes on as if it had never been pushed."""
    scene = WHOLE if channels == 1 else np.stack([WHOLE, WHOLE], axis=1)
    recognizer = Recognizer(channels)
    events = recognizer.push(scene[: 3 * RATE])
    with pytest.raises(SamplesError, match=r"samples (have shape|are)"):
        recognizer.push(bad)
    assert recognizer.seconds == 3
    events += recognizer.push(scene[3 * RATE :]) + recognizer.flush()
    assert events == told(scene, [3 * RATE, len(scene)], channels)


def test_a_negative_skip_raises() -> None:
    """It is not possible to lose fewer than no samples."""
    with pytest.raises(SamplesError, match="cannot skip -1"):
        Recognizer().skip(-1)


@pytest.mark.parametrize("settings_", [{"channels": 0}, {"tone": 200.0}, {"tone": 6000.0}])
def test_settings_that_cannot_be_heard_raise(settings_: dict[str, float]) -> None:
    """No channels, or a tone outside what is listened to."""
    with pytest.raises(SamplesError):
        Recognizer(int(settings_.get("channels", 1)), settings_.get("tone"))


def test_empty_blocks_and_zero_skips_are_nothing() -> None:
    """n may be 0."""
    recognizer = Recognizer()
    assert recognizer.push(np.zeros(0, np.float32)) == []
    assert recognizer.skip(0) == []
    assert recognizer.seconds == 0


def test_reset_forgets_everything() -> None:
    """After a reset the same samples give the same events and stream time starts at 0."""
    recognizer = Recognizer()
    recognizer.push(WHOLE[: 7 * RATE])
    recognizer.reset()
    assert recognizer.seconds == 0
    assert recognizer.push(WHOLE) + recognizer.flush() == told(WHOLE, [len(WHOLE)])


def test_the_array_pushed_is_left_as_it_was() -> None:
    """Also read-only arrays and views with a stride may be pushed."""
    strided = np.repeat(WHOLE, 2)[::2]
    strided.flags.writeable = False
    recognizer = Recognizer()
    assert recognizer.push(strided) + recognizer.flush() == told(WHOLE, [len(WHOLE)])
    assert np.array_equal(strided, WHOLE)
