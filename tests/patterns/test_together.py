"""Several alarms at once, and one that changes as it goes on: none hides another, and what is told stays true."""

import random
from collections.abc import Sequence
from dataclasses import replace

import pytest

from beepwatch.events import Beep, Heard
from beepwatch.patterns.beat import Beat
from tests.patterns.simulated import beep, breaths, bursts, ends, final, names, run, sounding

TONES = [None, 2730.0]
SOUNDS = [((0.0, 1.0, 2.0), 0.5, 4.0), ((0.0, 0.4, 0.8), 0.2, 9.0), ((0.0,), 1.2, 4.0)]
"""Onsets, pulse and cycle of a fire signal, a medium priority burst and breaths, s."""


def without(short: Sequence[Beep], long: Sequence[Beep]) -> list[Beep]:
    """The beeps of one buzzer that its long tones leave."""
    return [one for one in short if not any(tone.onset < one.end and one.onset < tone.end for tone in long)]


def critical(count: int) -> tuple[list[Beep], list[Heard]]:
    """20 s tones, one a minute, alone and as told while they sound."""
    long = [beep(20 + 60 * k, 20.0) for k in range(count)]
    return long, [event for tone in long for event in (sounding(tone.onset, 13.0), tone)]


def later(beeps: Sequence[Beep], seconds: float, frequency: float) -> list[Beep]:
    """The same beeps `seconds` later on another tone."""
    return [replace(one, onset=one.onset + seconds, known=one.known + seconds, frequency=frequency) for one in beeps]


@pytest.mark.parametrize("tone", TONES)
def test_lead_disconnect_is_raised_under_an_open_battery_alarm(tone: float | None) -> None:
    """It begins three minutes after battery-critical, on the same buzzer: both are told, each with its own figures."""
    long, told_long = critical(6)
    short = without(breaths(40, 5.0, start=203.0), long)
    told = run([*told_long, *short], tone=tone)
    assert names(told) == ["battery-critical", "lead-disconnect"]
    battery, lead = final(told)
    assert (battery.beeps, battery.duration, battery.period) == pytest.approx((6, 20.0, 60.0))
    assert (lead.beeps, lead.duration, lead.period) == pytest.approx((len(short), 1.2, 5.0))


@pytest.mark.parametrize("tone", TONES)
def test_a_breath_just_before_or_after_a_long_tone_is_no_part_of_it(tone: float | None) -> None:
    """Breaths of 7.5 s come within 0.5 s of the 20 s tones: these stay 20 s long."""
    long, told_long = critical(6)
    told = run([*told_long, *without(breaths(45, 7.5), long)], tone=tone)
    assert sorted(names(told)) == ["battery-critical", "lead-disconnect"]
    (battery,) = [alarm for alarm in final(told) if alarm.pattern == "battery-critical"]
    assert (battery.duration, battery.period) == pytest.approx((20.0, 60.0))


@pytest.mark.parametrize(("lasted", "expected"), [(23.3, "battery-critical"), (30.0, "unknown")])
def test_a_long_tone_that_breaths_ran_into_keeps_its_name(lasted: float, expected: str) -> None:
    """A breath ends 0.2 s before the 20 s tone, the next begins 0.2 s after it: hearing tells one tone of 23.3 s."""
    tone: list[Heard] = [sounding(22.0, 13.0), sounding(22.0, 23.0), beep(22.0, lasted)]
    told = run([*breaths(4, 5.0, 1.45), *tone, *breaths(3, 5.0, 1.45, start=57.0)])
    assert [alarm.pattern for alarm in final(told)] == ["lead-disconnect", expected]


@pytest.mark.parametrize("tone", TONES)
@pytest.mark.parametrize("smoke", [3100.0, 520.0])
def test_a_smoke_alarm_over_both_device_alarms(tone: float | None, smoke: float) -> None:
    """Three alarms at once: each is raised once, fire with its second group, and the others go on."""
    long, told_long = critical(6)
    fire = later(bursts((0.0, 1.0, 2.0), 0.5, 4.0, 40), 100.0, smoke)
    told = run([*told_long, *without(breaths(70, 5.0), long), *fire], tone=tone)
    assert sorted(names(told)) == ["battery-critical", "fire", "lead-disconnect"]
    assert [end.alarm.pattern for end in ends(told)] in ([], ["fire"])


@pytest.mark.parametrize("tone", TONES)
@pytest.mark.parametrize(
    ("offsets", "pulse", "cycle", "name"),
    [((0.0, 1.0, 2.0), 0.5, 4.0, "fire"), ((0.0, 0.2, 0.4, 0.6), 0.1, 5.7, "carbon-monoxide")],
)
def test_a_signal_on_the_devices_own_tone_is_not_hidden_by_its_alarm(
    tone: float | None, offsets: Sequence[float], pulse: float, cycle: float, name: str
) -> None:
    """With lead-disconnect open a counted signal of the same tone is raised with its second group; then that ends."""
    signal = later(bursts(offsets, pulse, cycle, 20), 100.0, 2730.0)
    told = run([*breaths(19), *signal], tone=tone)
    assert names(told) == ["lead-disconnect", name]
    (end,) = [end for end in ends(told) if end.alarm.pattern == "lead-disconnect"]
    assert end.alarm.beeps == 19
    assert (end.alarm.ended or 0.0) < 115.0


@pytest.mark.parametrize("tone", TONES)
@pytest.mark.parametrize(
    ("before", "after"),
    [((7.5, 1.2), (2.0, 0.8)), ((7.5, 1.5), (2.0, 0.7)), ((2.0, 0.8), (7.5, 1.3)), ((1.8, 0.75), (10.0, 1.3))],
)
def test_an_alarm_whose_breath_changes_its_rate(
    tone: float | None, before: tuple[float, float], after: tuple[float, float]
) -> None:
    """From 8 to 30 a minute at once, or back: one alarm, and after twenty breaths its figures are the new ones."""
    first = breaths(20, *before)
    told = run([*first, *breaths(20, *after, start=first[-1].onset + max(before[0], after[0]))], tone=tone)
    assert names(told) == ["lead-disconnect"]
    (alarm,) = final(told)
    assert (alarm.period, alarm.duration) == pytest.approx((after[0], after[1]), rel=0.001)


@pytest.mark.parametrize("tone", TONES)
def test_a_pause_of_three_minutes_is_one_alarm_with_the_same_period(tone: float | None) -> None:
    """Ended after 30 s of silence, open again as it returns: one number, and the pause is no period."""
    told = run([*breaths(8), *breaths(8, start=219.2)], tone=tone)
    (alarm,) = final(told)
    assert (alarm.beeps, alarm.ended) == (16, None)
    assert alarm.period == pytest.approx(5.0)


@pytest.mark.parametrize("tone", TONES)
def test_both_alarms_under_way_when_listening_begins(tone: float | None) -> None:
    """The end of a 20 s tone, then breaths: both are named, and the tone's own length and period are not made up."""
    told = run([beep(0.0, 16.0, onset_known=False), *breaths(7, start=19.0), beep(56.0, 20.0)], tone=tone)
    assert sorted(names(told)) == ["battery-critical", "lead-disconnect"]
    (battery,) = [alarm for alarm in final(told) if alarm.pattern == "battery-critical"]
    assert battery.duration == pytest.approx(18.0)


def test_the_beat_keeps_its_period_through_a_pause_and_missed_beeps() -> None:
    """Every second beep missed for a while halves nothing; a pause of forty periods moves nothing."""
    beat = Beat()
    for onset in (0.0, 5.0, 10.0, 20.0, 30.0, 35.0, 235.0, 240.0):
        assert beat.mark(onset)
    assert beat.period == pytest.approx(5.0)
    assert not beat.mark(240.0)


def test_a_group_told_twice_by_its_harmonics_is_one() -> None:
    """Its onsets differ by milliseconds: the period is no half of what it is."""
    beat = Beat()
    assert [beat.mark(onset) for onset in (0.0, 10.2, 10.203, 20.4, 20.41, 30.6)] == [
        True,
        True,
        False,
        True,
        False,
        True,
    ]
    assert beat.period == pytest.approx(10.2, rel=0.002)


@pytest.mark.parametrize("ratio", [1.0, 2 / 3, 0.75, 0.6, 4 / 3, 0.5])
@pytest.mark.parametrize("period", [5.0, 4.0, 3.3])
@pytest.mark.parametrize("taught", [False, True])
def test_an_open_smoke_alarm_hides_no_device_on_a_harmonic(ratio: float, period: float, taught: bool) -> None:
    """Breaths on any ratio of the tone of a fire signal that goes on are another sounder's, and found."""
    tone = 3100.0 * ratio
    fire = bursts((0.0, 1.0, 2.0), 0.5, 4.0, 30)
    told = run([*fire, *later(breaths(12, period, 1.2), 30.4, tone)], tone=tone if taught else None)
    assert names(told) == ["fire", "lead-disconnect"]


@pytest.mark.parametrize("other", [3744.0, 3480.0])
@pytest.mark.parametrize(("period", "late", "expected"), [(4.2, 0.02, 1), (4.2, 1.5, 2), (4.9, 0.02, 2)])
def test_two_tones_of_one_sounder_are_one_alarm(other: float, period: float, late: float, expected: int) -> None:
    """Two harmonics whose fundamental something hides, or the tone of an overload; else it is another device.

    They begin 20 ms apart, as a room moves their edges.
    """
    one = breaths(12, 4.2, frequency=2496.0)
    same = later(breaths(9, period), 8.4 + late, other)
    assert names(run([*one, *same])) == ["lead-disconnect"] * expected


@pytest.mark.parametrize(("on", "expected"), [(3100.0, ["fire"]), (2900.0, ["fire", "backup-battery"])])
def test_pieces_of_a_smoke_alarms_tone_are_no_battery_alarm(on: float, expected: list[str]) -> None:
    """Amid music its pulses run together into sounds of 4.5 s, half a second apart; another tone is a device's."""
    fire = bursts((0.0, 1.0, 2.0), 0.5, 4.0, 5)
    merged = [beep(24.0, 4.5, on), beep(28.9, 4.6, on)]
    assert names(run([*fire, *merged], tone=on)) == expected


@pytest.mark.parametrize("taught", [False, True])
def test_another_devices_bursts_hide_no_device_on_a_harmonic(taught: bool) -> None:
    """A pump calls at 880 Hz, the device's tone is the third harmonic of that: both are named."""
    calls = bursts((0.0, 0.4, 0.8), 0.2, 10.0, 20, frequency=880.0)
    told = run([*calls, *later(breaths(12), 70.4, 2640.0)], tone=2640.0 if taught else None)
    assert names(told) == ["medical-medium", "lead-disconnect"]


def test_an_open_smoke_alarm_ends_though_a_device_goes_on_beeping() -> None:
    """The device's beeps are no sound of the smoke alarm: this is over 30 s after its own last pulse."""
    fire = bursts((0.0, 1.0, 2.0), 0.5, 4.0, 10)
    told = run([*fire, *later(breaths(40), 12.4, 3100.0 * 0.75)])
    (end,) = ends(told)
    assert end.alarm.pattern == "fire"
    assert end.alarm.ended == pytest.approx(fire[-1].end)


@pytest.mark.parametrize("seed", range(12))
def test_any_mixture_of_sounders_is_weighed(seed: int) -> None:
    """Groups and breaths on one tone and on its harmonics, edges off and many unheard: no fault, and some alarm."""
    lot = random.Random(seed)
    heard: list[Beep] = []
    for _ in range(4):
        tone = 3100.0 * lot.choice([1.0, 1.0, 2 / 3, 0.5, 1.01])
        offsets, pulse, cycle = lot.choice(
            [((0.0, 1.0, 2.0), 0.5, 4.0), ((0.0, 0.4, 0.8), 0.2, 9.0), ((0.0,), 1.2, 4.0)]
        )
        group = later(bursts(offsets, pulse, cycle, 12), 40.0 * lot.random(), tone)
        heard += [
            replace(one, onset=one.onset + lot.gauss(0, 0.02), duration=one.duration * (1 + lot.gauss(0, 0.05)))
            for one in group
            if lot.random() > 0.2
        ]
    assert names(run(heard))


@pytest.mark.parametrize("tone", [None, 2200.0])
def test_an_open_alarm_explains_its_groups_that_ran_together_at_another_harmonic(tone: float | None) -> None:
    """Four pulses heard apart at 4.4 kHz for a minute, then as one 0.7 s sound at 2.2 kHz: no breath, although the
    taught tone is just that. The device's own breaths there, off that beat, are named all the same."""
    apart = bursts((0.0, 0.2, 0.4, 0.6), 0.1, 5.7, 10, frequency=4400.0)
    merged = [beep(3.0 + 5.7 * k, 0.72, 2200.0) for k in range(10, 18)]
    assert names(run([*apart, *merged], tone=tone)) == ["carbon-monoxide"]
    own = breaths(10, 5.0, 1.2, start=61.7, frequency=2200.0)
    assert names(run([*apart, *merged, *own], tone=tone)) == ["carbon-monoxide", "lead-disconnect"]


def test_a_combined_alarm_may_change_its_signal() -> None:
    """One sounder, first smoke, half a minute later carbon monoxide at the very same tone: both have their names."""
    smoke = bursts((0.0, 1.0, 2.0), 0.5, 4.0, 6)
    monoxide = later(bursts((0.0, 0.2, 0.4, 0.6), 0.1, 5.7, 8), 60.0, 3100.0)
    assert names(run([*smoke, *monoxide])) == ["fire", "carbon-monoxide"]


@pytest.mark.parametrize(("ratio", "fewest"), [(1.0, 2), (2.0, 2), (1 / 3, 3), (0.5, 3)])
def test_only_the_tone_of_an_alarm_and_what_is_above_it_is_the_devices(ratio: float, fewest: int) -> None:
    """Two beeps on it are enough, for it is known now. A note of music at a third of it needs as many as any other."""
    critical = beep(3, 20.0, 2400.0)
    after = [beep(40 + 5 * k, 1.2, 2400.0 * ratio) for k in range(4)]
    counts = [k for k in range(1, 5) if "lead-disconnect" in names(run([critical, *after[:k]]))]
    assert counts[0] == fewest
