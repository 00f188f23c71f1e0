"""Counted signals whose pulses ran together, went missing or are too faint to be told apart are no breaths."""

import random
from dataclasses import replace

import pytest

from beepwatch.events import Beep, Character, Heard
from tests.patterns.simulated import beep, bursts, known, names, run, sounding

FADED = Character(flatness=0.7)
"""What half-second pulses read in a furnished room, dB from quarter to quarter (tests/bench/stages.py)."""


def merged(length: float, sd: float, period: float, *, tone: float, snr: float, count: int = 9) -> list[Beep]:
    """Groups heard as one beep each, their lengths told with an error, s."""
    lot = random.Random(5)
    return [beep(3 + period * k, length + lot.gauss(0, sd), tone, snr=snr) for k in range(count)]


@pytest.mark.parametrize("tone", [None, 4155.0])
@pytest.mark.parametrize("snr", [-9.0, -13.0])
def test_carbon_monoxide_pulses_run_together_are_no_breaths(tone: float | None, snr: float) -> None:
    """Four 0.1 s pulses each 5.7 s, heard as one of 0.76 s where noise hides the gaps, name no device's alarm."""
    heard = merged(0.76, 0.045, 5.7, tone=4155.0, snr=snr)
    assert set(names(run(heard, tone=tone))) <= {"unknown"}


def test_the_same_breath_is_found_where_pulses_would_be_told_apart() -> None:
    """At 0 dB hearing tells 0.1 s pulses apart: 0.76 s each 5.7 s is a breath."""
    assert names(run(merged(0.76, 0.005, 5.7, tone=4155.0, snr=0.0))) == ["lead-disconnect"]


def test_a_longer_breath_at_that_rate_is_found_in_noise() -> None:
    """1.0 s each 5.7 s at -13 dB is no merged group: named by the fourth beep."""
    heard = merged(1.0, 0.03, 5.7, tone=4155.0, snr=-13.0, count=4)
    assert names(run(heard)) == ["lead-disconnect"]


@pytest.mark.parametrize("length", [1.07, 1.5])
def test_faint_medical_bursts_run_together_are_no_breaths(length: float) -> None:
    """Told their own tone, a burst's pulses heard as one tone at -16 dB have no name; a clear tone is a breath."""
    for snr, expected in ((-16.0, ["unknown"]), (-5.0, ["lead-disconnect"])):
        heard = merged(length, 0.02, 8.0, tone=830.0, snr=snr)
        assert names(run(heard, tone=830.0)) == expected


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("tone", [None, 3100.0])
def test_fire_pulses_in_noise_are_fire_or_nothing(tone: float | None, seed: int) -> None:
    """Half-second pulses at -10 dB, their edges off by 0.05 s, a third unheard: never a device's alarm."""
    lot = random.Random(seed)
    heard = [
        beep(3 + 4 * group + place + lot.gauss(0.02, 0.03), 0.55 + lot.gauss(0, 0.05), 3100.0, snr=-10.0)
        for group in range(10)
        for place in range(3)
        if lot.random() > 0.33
    ]
    assert set(names(run(heard, tone=tone))) <= {"fire", "unknown"}


def test_fire_pulses_that_a_room_draws_out_are_fire() -> None:
    """0.575 s instead of 0.5 s, and not flat as a dry pulse is: the room's, and still the signal."""
    dry = bursts((0.0, 1.0, 2.0), 0.575, 4.0, 4)
    wet = [beep(one.onset, one.duration, one.frequency, character=FADED) for one in dry]
    assert names(run(wet)) == ["fire"]
    assert "fire" not in names(run(dry))


def test_a_faint_tone_takes_more_beeps() -> None:
    """Where noise hides whether a beep is one tone or a warble it takes more of them; at -14 dB it does not."""
    so_so = Character(neighbours=27.0)
    for snr, fewest in ((10.0, 3), (-14.0, 3), (-24.0, 4)):
        heard = [beep(3 + 5 * k, 1.2, 3000.0, snr=snr, character=so_so) for k in range(12)]
        counts = [count for count in range(1, 13) if names(run(heard[:count])) == ["lead-disconnect"]]
        assert counts[0] == fewest


def test_the_mean_of_pulses_is_no_long_tone() -> None:
    """A tone told under way 18 dB below pulses of its own frequency is their mean: no battery alarm, told its tone."""
    pulses = [beep(3 + 5 * k + 0.1 * j, 0.05, 1000.0) for k in range(4) for j in range(10)]
    mean = sounding(3.0, 13.3, 1000.0)
    heard: list[Heard] = [*pulses, replace(mean, level=mean.level - 18.0)]
    assert "battery-critical" not in names(run(sorted(heard, key=known), tone=1000.0))
    assert names(run([mean], tone=1000.0)) == ["battery-critical"]


def test_a_tone_told_just_short_of_23_s_loses_its_name() -> None:
    """Hearing tells it as it passes 23 s; where its onset moved by some milliseconds it is renamed all the same."""
    told = run([sounding(3.0, 13.1), sounding(3.004, 22.996)], tone=2730.0)
    assert names(told) == ["battery-critical", "unknown"]


def test_a_tone_that_dies_away_is_no_battery_alarm() -> None:
    """A struck bar of the very tone, 16 s long, falls by 20 dB: not named. One that a room's null dents by 6 dB is."""
    for flatness, expected in ((22.0, []), (6.0, ["battery-critical"])):
        assert names(run([sounding(3.0, 13.1, character=Character(flatness=flatness))], tone=2730.0)) == expected


def test_beeps_that_a_null_dents_all_alike_are_a_sounder() -> None:
    """The room does to each beep what it did to the first: twelve alike dips of 23 dB are named, as many unlike not."""
    lot = random.Random(1)
    for spread, expected in ((0.2, ["lead-disconnect"]), (8.0, [])):
        dips = [max(10.0, 22.7 + lot.gauss(0, spread)) for _ in range(12)]
        faded = [Character(purity=0.85, flatness=dip, valley=dip) for dip in dips]
        assert names(run([beep(3 + 4.3 * k, 1.2, character=one) for k, one in enumerate(faded)])) == expected


@pytest.mark.parametrize(("dip", "expected"), [(14.0, ["lead-disconnect"]), (4.0, [])])
def test_beeps_whose_phase_turns_over_in_a_null_are_a_sounder(dip: float, expected: list[str]) -> None:
    """Past a deep dip, alike in each, a tone comes back with another phase; without one no sounder does."""
    turned = Character(purity=0.68, flatness=12.0, wander=1.2, valley=dip, settled=0.7)
    assert names(run([beep(3 + 2.9 * k, 0.95, character=turned) for k in range(4)])) == expected


def test_talk_over_beeps_that_a_null_dents_hides_them_not() -> None:
    """It fills the weakest quarter now and then, but the dip itself stays as deep as it was."""
    flatness = (12.0, 15.0, 6.0, 13.0, 7.0, 14.0, 6.0, 12.0, 7.0, 13.0)
    faded = [
        Character(purity=0.75, company=15.0, flatness=dent, valley=26.0 + 0.1 * (k % 3))
        for k, dent in enumerate(flatness)
    ]
    heard = [beep(3 + 4.3 * k, 1.2, character=one) for k, one in enumerate(faded)]
    assert names(run(heard)) == ["lead-disconnect"]


@pytest.mark.parametrize("worth", [0.7, 0.9])
def test_counted_groups_are_named_beside_music(worth: float) -> None:
    """Eight whole groups outweigh what music takes off each pulse's purity; a voice's pulses never do."""
    beside = Character(purity=worth, flatness=9.0, company=6.0, neighbours=21.0)
    voice = Character(purity=0.5, flatness=12.0, wander=4.0, neighbours=6.0, company=-10.0)
    for character, expected in ((beside, ["fire"]), (voice, [])):
        groups = bursts((0.0, 1.0, 2.0), 0.5, 4.0, 8)
        heard = [beep(one.onset, one.duration, one.frequency, character=character) for one in groups]
        assert names(run(heard, tone=2000.0)) == expected


@pytest.mark.parametrize("seed", range(10))
def test_fire_in_a_rooms_noise_is_fire(seed: int) -> None:
    """Half-second pulses at -10 dB read flat, 0.08 s too long, their edges off by 0.03 s: named within six groups."""
    lot = random.Random(seed)
    heard = [
        beep(3 + 4 * group + place + lot.gauss(0.01, 0.025), 0.575 + lot.gauss(0, 0.03), 520.0, snr=-10.5)
        for group in range(6)
        for place in range(3)
    ]
    assert names(run(heard)) == ["fire"]


@pytest.mark.parametrize("tone", [None, 520.0])
@pytest.mark.parametrize(("offsets", "pulse", "cycle"), [((0.0, 0.2, 0.4), 0.1, 5.7), ((0.0, 1.0), 0.5, 4.0)])
def test_pulses_apart_at_a_harmonic_tell_what_their_fundamental_is(
    tone: float | None, offsets: tuple[float, ...], pulse: float, cycle: float
) -> None:
    """The room runs them together at 520 Hz but not at 1560 Hz, clear of the noise: no breaths, told its very tone."""
    heard: list[Beep] = []
    for group in range(9):
        onset = 3 + cycle * group
        heard += [beep(onset + offset + 0.03, pulse, 1560.0, snr=0.0, level=-40.0) for offset in offsets]
        heard.append(beep(onset, offsets[-1] + pulse + 0.26, 520.0, snr=3.0))
    assert set(names(run(sorted(heard, key=known), tone=tone))) <= {"unknown", "fire"}


def test_a_busy_tone_with_beeps_missed_is_no_fire_alarm() -> None:
    """480 and 620 Hz at once each second, each told of some beeps only: every fourth missed leaves threes."""
    low = [beep(3.0 + k, 0.5, 480.0) for k in range(11) if k % 4 != 3]
    high = [beep(3.0 + k, 0.5, 620.0) for k in range(11) if k % 4 != 1]
    assert "fire" in names(run(low))
    assert "fire" not in names(run(sorted([*low, *high], key=known)))


def test_two_smoke_alarms_in_step_are_fire() -> None:
    """Linked alarms sound together, each on its own tone, and are both silent in the pauses."""
    both = [beep(3.0 + k, 0.5, tone) for k in range(11) if k % 4 != 3 for tone in (3100.0, 3250.0)]
    assert "fire" in names(run(sorted(both, key=known)))
