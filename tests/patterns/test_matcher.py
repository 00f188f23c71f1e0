"""The three device alarms from clean beeps, and what the matcher promises of its events."""

import pytest

from tests.patterns.simulated import LATENCY, beep, breaths, ends, final, names, raised_at, run, sounding


def test_lead_disconnect_is_raised_with_its_third_beep() -> None:
    """Untaught, three alike beeps a breath apart are enough: known when hearing tells the third."""
    told = run(breaths(8))
    assert names(told) == ["lead-disconnect"]
    assert raised_at(told) == pytest.approx(3 + 2 * 5 + 1.2 + LATENCY)
    (alarm,) = final(told)
    assert (alarm.priority, alarm.beeps, alarm.onset, alarm.ended) == ("high", 8, 3.0, None)
    assert alarm.period == pytest.approx(5.0)
    assert alarm.duration == pytest.approx(1.2)
    assert alarm.why == "8 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz"


def test_lead_disconnect_on_the_taught_tone_is_raised_with_its_second_beep() -> None:
    """The household's tone, known to within 3 %, needs one repeat less."""
    told = run(breaths(8), tone=2730 * 1.029)
    assert names(told) == ["lead-disconnect"]
    assert raised_at(told) == pytest.approx(3 + 5 + 1.2 + LATENCY)


def test_battery_critical_is_raised_at_the_end_of_its_first_tone() -> None:
    """One clean 20 s tone is enough untaught, and each further one joins the same alarm."""
    told = run([beep(3 + 60 * index, 20.0) for index in range(3)])
    assert names(told) == ["battery-critical"]
    assert raised_at(told) == pytest.approx(23 + LATENCY)
    (alarm,) = final(told)
    assert (alarm.beeps, alarm.priority, alarm.ended) == (3, "high", None)
    assert alarm.period == pytest.approx(60.0)


def test_battery_critical_on_the_taught_tone_is_raised_while_it_sounds() -> None:
    """A known tone that has lasted 13 s is no 10 s tone."""
    told = run([sounding(3, 13.0), beep(3, 20.0)], tone=2730)
    assert names(told) == ["battery-critical"]
    assert raised_at(told) == pytest.approx(3 + 13.1)
    (alarm,) = final(told)
    assert alarm.beeps == 1
    assert (alarm.duration, alarm.last) == pytest.approx((20.0, 23.0))


def test_backup_battery_is_raised_at_the_end_of_its_tone() -> None:
    """One clean 10 s tone is enough; the next comes an hour later and joins it."""
    told = run([beep(3, 10.0), beep(3603, 10.0)])
    assert names(told) == ["backup-battery"]
    assert raised_at(told) == pytest.approx(13 + LATENCY)
    (alarm,) = final(told)
    assert (alarm.priority, alarm.beeps) == ("medium", 2)
    assert alarm.period == pytest.approx(3600.0)


def test_lead_disconnect_ends_with_its_last_beep_when_six_periods_are_silent() -> None:
    """`ended` is the end of the last beep; it is told max(6 periods, 30 s) later, at that very time."""
    told = run(breaths(8, period=6.0), until=500)
    (end,) = ends(told)
    over = 3 + 7 * 6 + 1.2
    assert end.alarm.ended == pytest.approx(over)
    assert end.at == pytest.approx(over + 36.0)


def test_a_stream_without_beeps_tells_nothing() -> None:
    """Ticks alone raise nothing."""
    assert run([beep(1, 0.2)], ticks=[10, 20, 1e6]) == []
