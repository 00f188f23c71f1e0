"""When an alarm is over, when it is not, and when it goes on."""

import pytest

from beepwatch.events import Beep, Changed, Heard, Noise
from tests.patterns.simulated import beep, breaths, bursts, ends, final, named, names, run

LOUD, QUIET = -10.0, -70.0


def noise(start: float, stop: float, level: float) -> list[Heard]:
    """The room's loudness each 2 s, dBFS over 0-8 kHz."""
    count = int((stop - start) / 2)
    return [Noise(start + 2 * k, ((2000.0, QUIET), (6000.0, level))) for k in range(count)]


def test_a_short_period_waits_thirty_seconds() -> None:
    """max(6 periods, 30 s): at 2.5 s a breath 30 s of silence end it."""
    (end,) = ends(run(breaths(8, period=2.5, duration=0.9), until=200))
    assert end.at - (end.alarm.ended or 0) == pytest.approx(30.0)


def test_a_loud_room_holds_the_alarm_open_and_says_so() -> None:
    """With noise 20 dB over the beeps' level nothing ends: at the due time it is told that the room is too loud."""
    heard = [*breaths(8), *noise(2, 40, QUIET), *noise(40, 400, LOUD)]
    told = run(heard)
    assert ends(told) == []
    (alarm,) = final(told)
    assert alarm.ended is None
    assert "too loud" in alarm.why
    said = [event for event in told if isinstance(event, Changed) and "too loud" in event.alarm.why]
    assert len(said) == 1
    assert said[0].at == pytest.approx(39.2 + 30.0)


def test_after_the_noise_silence_is_counted_on() -> None:
    """Time in which a beep would not have been heard does not count: 30 s of quiet end it, wherever they lie."""
    heard = [*breaths(8), *noise(2, 50, QUIET), *noise(50, 150, LOUD), *noise(150, 400, QUIET)]
    (end,) = ends(run(heard))
    assert end.at == pytest.approx(39.2 + 30.0 + 100.0)
    assert "too loud" not in end.alarm.why


def test_noise_at_other_tones_does_not_matter() -> None:
    """The noise near the alarm's own tone counts: a rumble below holds nothing open."""
    rumble: list[Heard] = [Noise(2.0 * k, ((2000.0, LOUD), (6000.0, QUIET))) for k in range(1, 100)]
    (end,) = ends(run([*breaths(8), *rumble]))
    assert end.at == pytest.approx(39.2 + 30.0)


def test_a_beep_in_the_noise_takes_the_remark_back() -> None:
    """Once it is heard again nothing is said of the loud room."""
    heard = [*breaths(8), *noise(2, 40, QUIET), *noise(40, 200, LOUD), *breaths(3, start=203.0)]
    (alarm,) = final(run(heard))
    assert "too loud" not in alarm.why
    assert alarm.beeps == 11


def test_time_that_was_not_heard_ends_nothing() -> None:
    """Hearing stopped for five minutes (no noise told): that silence proves nothing."""
    heard = [*breaths(8), *noise(2, 44, QUIET), *noise(344, 360, QUIET)]
    assert ends(run(heard)) == []
    assert len(ends(run([*heard, *noise(360, 400, QUIET)]))) == 1


@pytest.mark.parametrize(("pause", "alarms"), [(60.0, 1), (300.0, 1), (590.0, 1), (610.0, 2)])
def test_a_return_within_ten_minutes_is_the_same_alarm(pause: float, alarms: int) -> None:
    """The same pattern and tone within 10 min of its last beep goes on as one; later it is another."""
    again = 39.2 + pause
    told = run([*breaths(8), *breaths(8, start=again)])
    assert len(final(told)) == alarms
    assert names(told) == ["lead-disconnect"] * alarms
    if alarms == 1:
        back = [event for event in told if isinstance(event, Changed) and event.at > again]
        assert back[0].alarm.ended is None
        assert final(told)[0].beeps == 16


def test_a_return_needs_two_beeps() -> None:
    """One alike sound after the end does not bring the alarm back; the second does, since its tone is known."""
    assert final(run([*breaths(8), beep(200, 1.2)]))[0].ended is not None
    told = run([*breaths(8), beep(200, 1.2), beep(205, 1.2)])
    assert final(told)[0].ended is None


def test_a_return_on_another_tone_is_another_alarm() -> None:
    """Another tone is another device."""
    told = run([*breaths(8), *breaths(8, start=100, frequency=3000.0)])
    assert names(told) == ["lead-disconnect", "lead-disconnect"]


def test_two_alarms_at_one_moment_come_most_urgent_first() -> None:
    """A fire signal and a device's alarm both get through, whatever the order of their beeps."""
    device = breaths(8)
    fire = bursts((0, 1, 2), 0.5, 4.0, 6)
    told = run([*device, *fire])
    assert sorted(names(told)) == ["fire", "lead-disconnect"]
    assert len(final(told)) == 2


def regular(tone: float) -> list[Beep]:
    """A beep of 0.1 s every 0.8 s: no pattern of ours."""
    return breaths(20, period=0.8, duration=0.1, frequency=tone)


def test_a_regular_beeping_that_fits_nothing_is_unknown() -> None:
    """Logged with low priority, once, when eight were heard."""
    told = run(regular(2000.0))
    assert [name for name, _ in named(told)] == ["unknown"]
    (alarm,) = final(told)
    assert (alarm.priority, alarm.beeps) == ("low", 20)


@pytest.mark.parametrize(("tone", "priority"), [(2000.0, "medium"), (2018.0, "medium"), (2024.0, "low")])
def test_the_taught_tones_unknown_beeping_has_medium_priority(tone: float, priority: str) -> None:
    """The device makes a sound that is not known: that wakes, after six beeps, if it is on just its tone."""
    told = run(regular(2000.0), tone=tone)
    assert names(told) == ["unknown"]
    assert final(told)[0].priority == priority


def test_an_alarm_on_the_unknown_ones_tone_takes_its_place() -> None:
    """When the tone turns out to be a device's alarm the unknown beeping ends, superseded."""
    beeping = breaths(10, period=10.9, duration=1.2)
    told = run([*beeping, *breaths(6, start=113.0)])
    assert names(told) == ["unknown", "lead-disconnect"]
    (end,) = ends(told)
    assert "lead-disconnect took its place" in end.alarm.why
