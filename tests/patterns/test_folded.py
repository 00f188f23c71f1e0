"""Counted groups as a room shows them: pulses lost, run together, at other harmonics; and what they never become."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from beepwatch.events import Beep, Character
from tests.patterns.simulated import beep, breaths, bursts, names, run

HIGH = (0.0, 0.25, 0.5, 1.0, 1.25, 2.2, 2.45, 2.7, 3.2, 3.45)
"""Onsets of ten 0.15 s pulses (IEC 60601-1-8 Table 3, quoted)."""
FOUR = (0.0, 0.2, 0.4, 0.6)
"""Onsets of the carbon monoxide signal's 0.1 s pulses (NFPA 72/720, UL 2034, quoted)."""


def high(count: int) -> list[list[Beep]]:
    """Groups of ten pulses, one each 10 s."""
    line = bursts(HIGH, 0.15, 10.0, count, frequency=880.0)
    return [line[10 * group : 10 * group + 10] for group in range(count)]


def test_pulses_lost_in_one_cycle_are_made_up_for_by_another() -> None:
    """Each cycle lacks two other pulses of ten: three cycles still count to ten."""
    line = [(group, number, one) for group, pulses in enumerate(high(4)) for number, one in enumerate(pulses)]
    heard = [one for group, number, one in line if (number + 3 * group) % 5 != 0]
    assert names(run(heard)) == ["medical-high"]


def test_pulses_that_run_together_are_counted_by_their_length() -> None:
    """The last two pulses are one of 0.40 s but for a cycle in which the last is lost: two, by where it ends."""
    heard = high(1)[0][:9]
    for pulses in high(5)[1:]:
        heard += [*pulses[:8], replace(pulses[8], duration=0.4, known=pulses[9].known)]
    assert names(run(heard)) == ["medical-high"]


def test_pulses_heard_at_several_harmonics_are_one_group_and_one_alarm() -> None:
    """In a room the second pulse may be loudest at three times the tone, the third at four times."""
    line = bursts((0.0, 0.4, 0.8), 0.2, 8.0, 6, frequency=550.0)
    heard = [replace(one, frequency=550.0 * (2, 3, 4)[number % 3]) for number, one in enumerate(line)]
    assert names(run(heard)) == ["medical-medium"]


def test_the_harmonics_of_a_signal_that_has_its_name_are_no_second_one() -> None:
    """The sixth harmonic of three of its ten pulses, told alone, are three pulses of 0.15 s as another signal has."""
    named = [one for group in high(6) for one in group]
    room = Character(flatness=1.5)
    above = [replace(one, frequency=6 * one.frequency, character=room) for group in high(6) for one in group[5:8]]
    assert names(run(above)) == ["medical-medium"]
    assert names(run([*named, *above])) == ["medical-high"]


@pytest.mark.parametrize(("longer", "expected"), [(0.0, ["medical-medium"]), (0.06, ["medical-medium"]), (0.09, [])])
def test_pulses_that_all_are_too_long_cost_evidence(longer: float, expected: list[str]) -> None:
    """A room draws pulses out by 0.06 s now and then, by 0.09 s hardly ever: amid music such are notes."""
    music = [beep(1 + 4 * k, 0.5, 1500.0 + 70 * k) for k in range(16)]
    drawn = Character(flatness=3.0, company=-4.0, neighbours=12.0)
    line = bursts((0.0, 0.5, 1.0), 0.25 + longer, 9.4, 5, frequency=830.0)
    assert names(run([*music, *(replace(one, character=drawn) for one in line)])) == expected


def test_groups_that_are_heard_at_another_harmonic_from_then_on_are_the_same_alarm() -> None:
    """First at the second, then at the fifth: their ratio is none that two sounds are taken for one sounder's by."""
    line = bursts((0.0, 0.4, 0.8), 0.2, 8.0, 9, frequency=550.0)
    heard = [replace(one, frequency=550.0 * (2 if number < 12 else 5)) for number, one in enumerate(line)]
    assert names(run(heard)) == ["medical-medium"]


@pytest.mark.parametrize(("cycle", "expected"), [(60.6, ["carbon-monoxide"]), (121.2, [])])
def test_two_groups_of_four_two_minutes_apart_are_no_slow_cycle(cycle: float, expected: list[str]) -> None:
    """The pause of a minute is the standard's; over two with a group unheard between them music repeats itself."""
    assert names(run(bursts(FOUR, 0.1, cycle, 2))) == expected


def test_notes_of_music_at_a_harmonic_hide_no_signal() -> None:
    """A tone at two thirds of the signal's sounds in each pause: the signal's own tone is counted alone first."""
    notes = [beep(5.0 + 1.3 * k, 0.12, 2067.0, character=Character(company=-5.0, neighbours=10.0)) for k in range(20)]
    assert "carbon-monoxide" in names(run([*bursts(FOUR, 0.1, 5.7, 4), *notes]))


@pytest.mark.parametrize(
    ("starts", "music", "named"),
    [
        ((3.0, 60.6, 79.8, 99.0), True, []),
        ((3.0, 60.6, 79.8, 99.0), False, ["medical-medium"]),
        ((3.0, 22.2, 41.4, 60.6), True, ["medical-medium"]),
    ],
)
def test_unheard_groups_cost_evidence_amid_music(starts: Sequence[float], music: bool, named: list[str]) -> None:
    """Two of six groups of a loop's notes are missing, and other notes sound between them: not named. In quiet, or
    where none is missing, groups of the same poor character are."""
    poor = Character(company=-9.0, neighbours=18.0)
    pulses = [beep(start + 0.3 * k, 0.16, 2114.0, character=poor) for start in starts for k in range(3)]
    notes = [beep(2.0 + 7.0 * k, 0.5, 900.0 + 173.0 * k) for k in range(15)] if music else []
    assert names(run([*pulses, *notes])) == named


@pytest.mark.parametrize("tone", [None, 3100.0])
def test_five_pulses_of_which_one_is_lost_now_and_then_are_not_four(tone: float | None) -> None:
    """What is heard in most cycles is part of the group, so a count is never made right by losses."""
    line = bursts((*FOUR, 0.8), 0.1, 5.7, 8)
    heard = [one for number, one in enumerate(line) if number % 5 != 4 or number // 5 % 3 == 0]
    assert "carbon-monoxide" not in names(run(heard, tone=tone))


@pytest.mark.parametrize("tone", [None, 2730.0])
@pytest.mark.parametrize(("length", "period"), [(0.75, 5.7), (1.0, 8.0), (1.4, 10.0)])
def test_pulses_that_ran_together_are_no_breaths(length: float, period: float, tone: float | None) -> None:
    """As one beep of the group's span they are rough (purity 0.47-0.9 in rooms, tests/bench/stages.py), each time."""
    purities = (0.95, 0.73, 0.89, 0.85, 0.81, 0.93)
    heard = [
        replace(one, character=Character(purity=purities[k % 6])) for k, one in enumerate(breaths(20, period, length))
    ]
    assert names(run(heard, tone=tone)) == []


def test_a_few_impure_beeps_hide_no_breaths() -> None:
    """A fading room's beeps are impure but not flat; a noisy one's are impure now and then."""
    fading = [replace(one, character=Character(purity=0.9, flatness=5.0)) for one in breaths(5)]
    now_and_then = [
        replace(one, character=Character(purity=0.9 if k == 1 else 1.0)) for k, one in enumerate(breaths(4))
    ]
    assert names(run(fading)) == names(run(now_and_then)) == ["lead-disconnect"]


@pytest.mark.parametrize(("settled", "expected"), [(1.0, ["lead-disconnect"]), (0.78, []), (None, [])])
def test_beeps_that_are_impure_only_as_they_begin_are_breaths(settled: float | None, expected: list[str]) -> None:
    """In a room that weakens the tone its build-up stands out, in each beep; pulses are as rough in their middle."""
    odd = Character(purity=0.78, flatness=2.5, wander=0.5, valley=6.8, neighbours=21.0, settled=settled)
    assert names(run([replace(one, character=odd) for one in breaths(12)])) == expected


def levels(values: Sequence[float]) -> list[Beep]:
    """Breaths of these levels, dBFS."""
    return [replace(one, level=level) for one, level in zip(breaths(len(values)), values, strict=True)]


def test_beeps_of_one_sounder_are_alike_in_level() -> None:
    """Three notes 17 dB apart are not yet an alarm; a person who walks about, 5 dB, delays nothing."""
    loose = [replace(one, character=Character(company=8.0)) for one in levels((-24.0, -38.0, -41.0))]
    assert names(run(loose)) == []
    assert names(run(levels((-30.0, -35.0, -31.0)))) == ["lead-disconnect"]


def test_two_devices_of_one_tone_at_two_distances_hide_nothing() -> None:
    """The nearer one's beeps between those of the further are no proof against these."""
    near, far = breaths(20, 5.0, 1.2), breaths(24, 4.1, 1.1, start=5.1)
    told = run([*near, *(replace(one, level=-45.0) for one in far)])
    assert set(names(told)) == {"lead-disconnect"}


def test_two_tones_that_always_begin_and_end_together_are_no_buzzer() -> None:
    """A warble's two tones, 1 s on and 4 s off, are the pattern each by itself: they wait for more evidence."""
    first = [replace(one, character=Character(company=10.0)) for one in breaths(4, 5.0, 1.0, frequency=2990.0)]
    second = [replace(one, frequency=3830.0) for one in first]
    assert names(run(first)) == ["lead-disconnect"]
    assert names(run([*first, *second])) == []


@pytest.mark.parametrize("tone", [None, 2990.0])
def test_a_much_weaker_tone_beside_each_beep_is_an_overloads(tone: float | None) -> None:
    """A clipped sounder has tones of no simple ratio: the third harmonic of a square wave, 9.5 dB weaker (theory).

    It is named, at its third beep, once, and nothing else is.
    """
    first = breaths(3, frequency=2990.0)
    second = [replace(one, frequency=3830.0, level=one.level - 9.54) for one in first]
    assert names(run([*first, *second], tone=tone)) == ["lead-disconnect"]


@pytest.mark.parametrize("tone", [None, 2730.0])
def test_fast_beeps_are_breaths_from_the_tenth_on(tone: float | None) -> None:
    """Ovens and washers call five to ten times (common practice, no source), so at 40 a minute ten are asked for."""
    assert "lead-disconnect" not in names(run(breaths(9, 1.5, 0.54), tone=tone))
    assert "lead-disconnect" in names(run(breaths(12, 1.5, 0.54), tone=tone))


def test_a_backup_tone_before_it_does_not_hide_battery_critical() -> None:
    """A 10 s tone, then half a minute later 20 s tones each minute: both are named, the first is superseded."""
    told = run([beep(3, 10.0), *(beep(40 + 60 * k, 20.0) for k in range(3))])
    assert names(told) == ["backup-battery", "battery-critical"]


@pytest.mark.parametrize("tone", [None, 3100.0])
@pytest.mark.parametrize(
    ("onsets", "length"), [((3, 7, 9, 11, 13, 17, 19, 21), 0.57), ((5, 8, 11), 0.61), ((3, 6, 10, 14, 18), 0.62)]
)
def test_fire_pulses_drawn_out_and_some_unheard_are_no_breaths(
    onsets: Sequence[int], length: float, tone: float | None
) -> None:
    """0.5 s pulses that a room makes longer lie whole seconds apart, whichever of them are heard."""
    heard = [beep(float(onset), length, 3100.0) for onset in onsets]
    assert "lead-disconnect" not in names(run(heard, tone=tone))
