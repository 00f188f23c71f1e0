"""What lead-disconnect.toml's judgements cost: the figures that stand beside them."""

import pytest

from beepwatch.events import Raised
from beepwatch.patterns import Matcher
from tests.patterns.simulated import breaths, final, names, run


def named_at(period: float, length: float, frequency: float, tone: float | None = None) -> tuple[int, float] | None:
    """At which beep, and how many s after the first onset, clean breaths are named; None if never in 40 of them."""
    matcher = Matcher(tone)
    for count, one in enumerate(breaths(40, period, length, frequency=frequency), 1):
        for event in matcher.hear(one):
            if isinstance(event, Raised) and event.alarm.pattern == "lead-disconnect":
                return count, event.at - 3.0
    return None


@pytest.mark.parametrize("frequency", [425.0, 440.0, 790.0])
@pytest.mark.parametrize(("period", "length"), [(5.0, 1.0), (5.0, 1.2), (3.0, 0.9)])
def test_a_sounder_below_the_lowest_tone_is_missed_until_it_is_taught(
    frequency: float, period: float, length: float
) -> None:
    """A European ringback (425 Hz, 1 s on, 4 s off) and a device as low are one untaught: neither wakes."""
    assert named_at(period, length, frequency) is None
    told = named_at(period, length, frequency, tone=frequency)
    assert told is not None
    assert told[0] == 2


@pytest.mark.parametrize("frequency", [820.0, 1000.0, 1200.0, 2730.0, 5000.0])
def test_above_it_a_clean_sounder_in_a_quiet_room_needs_its_third_beep(frequency: float) -> None:
    """The doubt of a low tone costs such a one nothing: it is felt by faint or rough ones, and amid music."""
    told = named_at(5.0, 1.2, frequency)
    assert told is not None
    assert told[0] == 3


@pytest.mark.parametrize(
    ("period", "length", "beep"),
    [(2.0, 1.0, 6), (60 / 28, 1.0, 6), (2.2, 0.9, 3), (2.4, 1.2, 3), (3.0, 1.5, 3)],
)
def test_a_fast_breath_that_beeps_half_of_its_time_waits(period: float, length: float, beep: int) -> None:
    """As microwaves, washers and trucks do: 1 s on, 1 s off is named at its sixth beep; these beep five times.

    Nothing of theirs is known that beeps so at under 26 a minute.
    """
    told = named_at(period, length, 2730.0)
    assert told is not None
    assert told[0] == beep


@pytest.mark.parametrize("rate", [34, 36, 38, 40])
def test_a_breath_over_34_a_minute_waits_for_its_tenth_beep(rate: int) -> None:
    """That is 14 to 17 s."""
    told = named_at(60 / rate, 0.36 * 60 / rate, 2730.0)
    assert told is not None
    assert told[0] == 10
    assert 14.0 <= told[1] <= 17.2


@pytest.mark.parametrize(("period", "length", "beep"), [(6.0, 0.7, 3), (7.5, 0.6, 5), (10.0, 0.9, 4), (10.0, 0.7, 6)])
def test_a_short_breath_with_a_long_pause_waits(period: float, length: float, beep: int) -> None:
    """Below an I:E of 1:10 up to three beeps more; at 1:7.5 a clean sounder's third is enough."""
    told = named_at(period, length, 2730.0)
    assert told is not None
    assert told[0] == beep


@pytest.mark.parametrize("tone", [None, 2730.0])
@pytest.mark.parametrize(("period", "length"), [(5.0, 0.55), (2.0, 0.55), (3.0, 0.55), (5.0, 0.6)])
def test_a_breath_shorter_than_the_handbooks_is_never_named(period: float, length: float, tone: float | None) -> None:
    """Under 0.56 s, and under 0.66 s at whole seconds: the fire signal's pulses are just like it, on any tone."""
    assert named_at(period, length, 2730.0, tone) is None


def test_a_short_breath_on_the_taught_tone_wakes_all_the_same() -> None:
    """As the device's sound of no known kind."""
    told = run(breaths(20, 3.0, 0.5), tone=2730.0)
    assert names(told) == ["unknown"]
    assert final(told)[0].priority == "medium"
