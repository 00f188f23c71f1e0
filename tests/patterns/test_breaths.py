"""Lead-disconnect: every breath of the handbooks, missed, broken and wandering beeps, and what is not it."""

import random
from dataclasses import replace

import pytest

from beepwatch.events import Beep, Character
from tests.patterns.simulated import LATENCY, beep, breaths, bursts, final, known, names, raised_at, run

COMBINATIONS = [
    (rate, length)
    for rate in range(8, 31)
    for length in (0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5)
    if 60 / rate - length >= 0.5
]
"""8-30 breaths a minute (adults 12-20, paced 8-14, child asleep 22) with inspiratory times of 0.7-1.5 s (handbooks'
0.8-1.5, quoted; paced 1.1-1.3, from memory) that leave a pause of 0.5 s."""


@pytest.mark.parametrize(("rate", "length"), COMBINATIONS)
def test_every_breath_of_the_handbooks_is_found(rate: int, length: float) -> None:
    """Found by the third beep; by the fifth where it takes under 16 % of the breath.

    At over 26 a minute, as ovens call, by the seventh where it takes over 44 %.
    """
    period = 60 / rate
    told = run(breaths(10, period, length), until=10 * period + 3)
    assert names(told) == ["lead-disconnect"]
    duty = length / period
    beeps = 5 if duty < 0.16 else 3 if duty <= 0.44 or period > 2.3 else 7
    assert raised_at(told) <= 3 + (beeps - 1) * period + length + LATENCY + 1e-6


@pytest.mark.parametrize("period", [1.5, 2.0, 3.0, 5.0, 7.5, 10.0])
def test_the_period_is_measured_to_a_tenth_of_a_percent(period: float) -> None:
    """Eight or more beeps whose onsets err by 5 ms sd, three of twelve missed: error of the period under 0.5 %."""
    lot = random.Random(round(period * 10))
    for _ in range(20):
        beeps = [beep(3 + period * k + lot.gauss(0, 0.005), min(0.3 * period, 1.5)) for k in range(14)]
        heard = [one for index, one in enumerate(beeps) if index not in {5, 9, 10}]
        (alarm,) = final(run(heard))
        assert alarm.period == pytest.approx(period, rel=0.005)


def breaths_with(
    lot: random.Random, *, missed: float, wander: float, count: int = 40, period: float = 5.0
) -> list[Beep]:
    """Beeps of a sleeper's breath: each missed with a probability, each period with a relative sd."""
    heard, onset = [], 3.0
    for _ in range(count):
        if lot.random() >= missed:
            heard.append(beep(onset + lot.gauss(0, 0.018), 1.2 * (1 + lot.gauss(0, 0.02))))
        onset += period * max(0.5, lot.gauss(1.0, wander))
    return heard


@pytest.mark.parametrize(
    ("missed", "wander", "most"), [(0.0, 0.1, 3), (0.2, 0.0, 6), (0.2, 0.1, 7), (0.4, 0.0, 12), (0.4, 0.1, 12)]
)
def test_missed_beeps_and_wandering_breaths(missed: float, wander: float, most: int) -> None:
    """In a quiet room 95 % are raised by this breath (200 runs, seeded)."""
    lot = random.Random(7)
    breath = []
    for _ in range(200):
        told = run(breaths_with(lot, missed=missed, wander=wander))
        assert set(names(told)) == {"lead-disconnect"}
        breath.append((raised_at(told) - 3 - 1.2 - LATENCY) / 5.0 + 1)
    breath.sort()
    assert breath[190] <= most + 0.6  # breaths that wander do not keep to the average's clock


def test_one_wandering_sleeper_is_one_alarm() -> None:
    """An hour of breaths with 10 % sd and 20 % missed: raised once, never split, never ended."""
    lot = random.Random(3)
    told = run(breaths_with(lot, missed=0.2, wander=0.1, count=720))
    assert names(told) == ["lead-disconnect"]
    assert len(final(told)) == 1
    assert final(told)[0].ended is None


def test_breaths_that_slow_down_stay_one_alarm() -> None:
    """From 20 to 8 a minute over five minutes."""
    onset, heard = 3.0, []
    for index in range(60):
        heard.append(beep(onset, 1.2))
        onset += 3.0 + 4.5 * index / 60
    told = run(heard)
    assert names(told) == ["lead-disconnect"]
    assert final(told)[0].beeps >= 58


def test_a_beep_broken_by_a_cough_does_not_split_the_alarm() -> None:
    """Two pieces of one breath's beep belong to the open alarm."""
    whole = breaths(12)
    heard = [*whole[:5], beep(whole[5].onset, 0.5), beep(whole[5].onset + 0.7, 0.5), *whole[6:]]
    told = run(heard)
    assert names(told) == ["lead-disconnect"]
    assert len(final(told)) == 1


@pytest.mark.parametrize("tone", [None, 2730.0])
def test_lead_disconnect_is_not_named_from_other_makers_rhythms(tone: float | None) -> None:
    """Told their very tone: truck, microwave, chirp, quartz alarm clock, washer, two-second pips and half-hours."""
    others = {
        "reversing truck, 0.5 s every 1.0 s": breaths(30, 1.0, 0.5),
        "microwave, 1 s on, 1 s off, five times": breaths(5, 2.0, 1.0),
        "low-battery chirp, 0.1 s a minute": breaths(10, 60.0, 0.1),
        "alarm clock, pairs of 0.13 s": bursts((0.0, 0.25), 0.13, 1.03, 30, frequency=2730.0),
        "washer, 0.3 s every 0.7 s": breaths(10, 0.7, 0.3),
        "a long beep every 20 s": breaths(6, 20.0, 1.2),
        "kettle": [beep(3, 47.0)],
    }
    for name, heard in others.items():
        assert set(names(run(heard, tone=tone))) <= {"unknown"}, name


def test_ringback_is_not_named_untaught() -> None:
    """European ringback, 425 Hz, 1 s on, 4 s off (ITU-T E.180, from memory) *is* the rhythm: the tone decides."""
    assert set(names(run(breaths(20, 5.0, 1.0, frequency=425.0)))) <= {"unknown"}


def test_music_needs_more_evidence() -> None:
    """With ten foreign beeps a minute and the tone's faults of an instrument three repeats are not enough."""
    instrument = Character(company=5.0, neighbours=20.0)
    others = [beep(1 + 3.1 * k, 0.5, 1000.0 + 37 * k) for k in range(30)]
    notes = [beep(5.3 + 5 * k, 1.2, 2000.0, character=instrument) for k in range(3)]
    assert names(run(sorted([*others, *notes], key=known))) == []


def test_a_voice_is_never_lead_disconnect() -> None:
    """Ever so regular, a sound without a sounder's character is nothing."""
    voice = Character(purity=0.6, flatness=12.0, wander=4.0, neighbours=6.0, company=-10.0)
    heard = [beep(3 + 5 * k, 1.2, character=voice) for k in range(30)]
    assert names(run(heard)) == []


def test_a_beep_already_under_way_is_no_part_of_the_rhythm() -> None:
    """Its onset is not known: the three after it decide."""
    heard = [beep(0.0, 0.7, onset_known=False), *breaths(4, start=4.5)]
    assert names(run(heard)) == ["lead-disconnect"]
    assert final(run(heard))[0].onset == pytest.approx(4.5)


@pytest.mark.parametrize(("taught", "count"), [(2730.0, 2), (1365.0, 3), (910.0, 3)])
def test_a_multiple_of_the_taught_tone_takes_one_beep_more(taught: float, count: int) -> None:
    """In a room's null the taught sounder is heard at its harmonic: that is named too, but at the third beep."""
    assert names(run(breaths(count - 1), tone=taught)) == []
    assert names(run(breaths(count), tone=taught)) == ["lead-disconnect"]


@pytest.mark.parametrize(("low", "expected"), [(2730.0 / 3, ["lead-disconnect"]), (520.0, ["unknown"])])
def test_the_fundamental_counts_not_the_harmonic(low: float, expected: list[str]) -> None:
    """Beeps that come with a third of their tone are that sounder's: one below 800 Hz is no device's, untaught."""
    harmonics = breaths(8, frequency=3.0 * low)
    assert names(run([*harmonics, *breaths(8, frequency=low)])) == expected


def test_the_doubt_of_a_low_tone_holds_when_the_newest_beep_is_a_harmonic() -> None:
    """Two beeps at 850 Hz and one at 1700 are a sounder of 850 Hz: as late to be named as three at 850."""
    so_so = Character(neighbours=21.0)
    for tones, expected in (((850.0, 850.0, 850.0), 0), ((850.0, 850.0, 1700.0), 0), ((1700.0, 1700.0, 1700.0), 1)):
        heard = [beep(3 + 5 * i, 1.2, tone, character=so_so) for i, tone in enumerate(tones)]
        assert len(names(run(heard))) == expected


@pytest.mark.parametrize(("late", "beeps"), [(0.5, 8), (1.0, 9)])
def test_a_note_at_a_quarter_of_the_tone_counts_only_on_the_beat(late: float, beeps: int) -> None:
    """A sounder in a null is heard at its harmonics, each when a beep is due; a musical note comes at any time."""
    heard = breaths(8)
    note = beep(heard[-1].onset + 5.0 * late, 1.1, 2730.0 / 4)
    (alarm,) = final(run([*heard, note]))
    assert alarm.pattern == "lead-disconnect"
    assert alarm.beeps == beeps
    assert alarm.period == pytest.approx(5.0, rel=0.001)


@pytest.mark.parametrize(("valleys", "expected"), [((22.7, 22.5), ["lead-disconnect"]), ((22.7, 15.0), [])])
def test_two_beeps_that_dip_alike_show_the_rooms_null(valleys: tuple[float, float], expected: list[str]) -> None:
    """Of a taught tone: the room does that, and each time the same; notes that only fade differ."""
    dipped = [Character(flatness=7.3, valley=valley, neighbours=26.0, company=20.0) for valley in valleys]
    heard = [beep(3 + 5 * k, 1.2, character=one) for k, one in enumerate(dipped)]
    assert names(run(heard, tone=2730.0)) == expected


def test_half_of_a_taught_tone_is_another_sounders() -> None:
    """Its second harmonic lies on the taught tone, the fundamental is heard too: it needs an unknown one's evidence."""
    so_so = Character(neighbours=21.0)
    heard = [beep(3 + 5 * k, 1.2, tone, character=so_so) for k, tone in enumerate((2730.0, 1365.0, 2730.0))]
    assert names(run(heard, tone=2730.0)) == []
    assert names(run([replace(one, frequency=2730.0) for one in heard], tone=2730.0)) == ["lead-disconnect"]


def test_one_beep_heard_at_a_third_of_it_does_not_change_the_tone() -> None:
    """A note of music began with it there."""
    heard = [replace(one, frequency=910.0) if number == 1 else one for number, one in enumerate(breaths(4))]
    assert names(run(heard, tone=2730.0)) == ["lead-disconnect"]


@pytest.mark.parametrize(("off", "expected"), [(1.008, ["lead-disconnect"]), (1.001, [])])
def test_notes_that_only_lie_near_a_harmonic_are_no_extra_beeps(off: float, expected: list[str]) -> None:
    """Notes a seventh of a semitone from a third of the tone are music; those just there may be the same thing's."""
    notes = [beep(4.8 + 2.5 * k, 0.3, 910.0 * off) for k in range(4)]
    assert names(run([*breaths(3), *notes])) == expected
