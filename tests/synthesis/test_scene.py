"""Whole scenes: the truth is what is in the samples, and the same scenario is the same scene."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt

from beepwatch.errors import InputError
from beepwatch.synthesis import Background, Ring, Room, Scenario, Thump, as_tsv, blocks, plan, render

RATE = 16_000
LEAD = Ring(pattern="lead-disconnect", start=3.0, count=8, breaths_a_minute=15)


def tone_power(samples: NDArray[np.float32], onset: float, offset: float, frequency: float) -> float:
    """Power of the tone between two times by a plain windowed sum at its frequency."""
    part = samples[round((onset + 0.1) * RATE) : round((offset - 0.05) * RATE)].astype(float)
    window = np.hanning(len(part))
    turn = np.exp(-2j * np.pi * frequency / RATE * np.arange(len(part)))
    return float(2 * abs(np.sum(window * part * turn) / np.sum(window)) ** 2)


@pytest.mark.parametrize("kind", ["white", "pink", "fan", "breathing"])
@pytest.mark.parametrize("snr", [10.0, -6.0])
def test_snr_is_as_stated(kind: str, snr: float) -> None:
    """Tone by a direct sum over background by its plain mean square (all is in 0-8 kHz): within 0.5 dB."""
    quiet = Scenario(duration=60, seed=1, background=Background(kind=kind))  # type: ignore[arg-type]
    loud = Scenario(duration=60, seed=1, background=quiet.background, snr=snr, alarms=(LEAD,))
    scene = render(loud)
    noise = float(np.mean(render(quiet).samples.astype(float) ** 2))
    powers = [tone_power(scene.samples, b.onset, b.offset, b.frequency) for b in scene.truth.beeps]
    assert 10 * np.log10(np.mean(powers) / noise) == pytest.approx(snr, abs=0.5)
    assert 10 * np.log10(2 * noise) == pytest.approx(-66, abs=0.3)
    assert all(beep.snr == snr for beep in scene.truth.beeps)


def test_onsets_and_ends_are_where_the_sound_is() -> None:
    """The envelope in a band of 500 Hz (scipy Butterworth, forward and back) passes half there, to 2 ms."""
    silent = Scenario(duration=40, background=Background(kind="silence"), alarms=(LEAD,), level=-20.0)
    scene = render(silent)
    band = butter(2, [2480, 2980], "bandpass", fs=RATE, output="sos")
    rough = np.abs(sosfiltfilt(band, scene.samples.astype(float)))
    envelope = np.convolve(rough, np.ones(41) / 41, "same") * np.pi / 2
    over = np.diff((envelope > 0.5 * 10 ** (-10 / 20)).astype(int))
    onsets, offsets = np.flatnonzero(over == 1) / RATE, np.flatnonzero(over == -1) / RATE
    assert onsets == pytest.approx([beep.onset for beep in scene.truth.beeps], abs=0.002)
    assert offsets == pytest.approx([beep.offset for beep in scene.truth.beeps], abs=0.002)


def test_the_truth_in_a_room_is_what_the_microphone_gets() -> None:
    """The steady tone's power after the build-up is the truth's SNR, fade of the room included."""
    long = Ring(pattern="battery-critical", start=2, count=1, tone=2000)
    for seed in (1, 2, 3):
        scene = render(Scenario(duration=24, seed=seed, snr=30, room=Room(t60=0.4), alarms=(long,)))
        told = scene.truth.beeps[0]
        power = tone_power(scene.samples, told.onset + 1, told.offset, told.frequency)
        assert told.snr != 30
        assert 10 * np.log10(2 * power) == pytest.approx(told.level, abs=0.1)
        assert told.snr == pytest.approx(told.level + 66)


def test_the_same_seed_gives_the_same_scene() -> None:
    """Equal samples and truth for one seed; others for another."""
    busy = Scenario(
        duration=30, seed=5, room=Room(t60=0.3), alarms=(Ring(pattern="fire", start=2, jitter=3, missed=0.2),)
    )
    first, second = render(busy), render(busy)
    assert np.array_equal(first.samples, second.samples)
    assert first.truth == second.truth
    other = Scenario(duration=30, seed=6, room=busy.room, alarms=busy.alarms)
    assert render(other).truth != first.truth


def test_parts_do_not_disturb_each_other() -> None:
    """Adding a thump and an alarm leaves background and the first alarm as they were, sample for sample."""
    one = Scenario(duration=20, seed=7, alarms=(LEAD,))
    both = Scenario(duration=20, seed=7, alarms=(LEAD, Ring(pattern="chirp", start=15)), thumps=(Thump(start=16),))
    before, after = render(one).samples, render(both).samples
    assert np.array_equal(before[: 14 * RATE], after[: 14 * RATE])
    assert not np.array_equal(before, after)


def test_blocks_join_to_the_sum_of_the_parts() -> None:
    """A plain twin adds whole tones and background without blocks or room: the same to float32's rounding."""
    scenario = Scenario(duration=7.3, seed=8, alarms=(LEAD,), background=Background(kind="recording", file="x"))
    recorded = np.random.default_rng(9).standard_normal(5000).astype(np.float32)
    planned = plan(scenario)
    n = round(7.3 * RATE)
    twin = np.resize(recorded, n).astype(float)
    twin *= 10 ** (-66 / 20) / np.sqrt(2) / np.sqrt(np.mean(recorded.astype(float) ** 2))
    twin += sum(tone.at(0, n, RATE) for tone in planned.tones)
    parts = list(blocks(scenario, planned, recorded))
    assert [len(part) for part in parts] == [RATE] * 7 + [n - 7 * RATE]
    assert np.allclose(np.concatenate(parts), twin, rtol=0, atol=1e-8)


def test_a_recorded_background_that_is_not_given_is_told() -> None:
    """It is not replaced by silence."""
    with pytest.raises(InputError, match="needs its samples"):
        render(Scenario(duration=1, background=Background(kind="recording", file="x")))


def test_missed_beeps_are_out_of_sound_and_truth() -> None:
    """A list leaves out just those; a share leaves out that share."""
    some = Ring(pattern="lead-disconnect", start=3, count=8, breaths_a_minute=15, missed=(2, 3))
    full = plan(Scenario(duration=60, alarms=(LEAD,))).truth.beeps
    left = plan(Scenario(duration=60, alarms=(some,))).truth
    assert left.beeps == full[:1] + full[3:]
    assert left.alarms[0].beeps == 6
    many = Ring(pattern="beep", start=1, count=200, missed=0.25)
    assert len(plan(Scenario(duration=900, alarms=(many,))).truth.beeps) == 150


def test_jitter_has_the_stated_spread() -> None:
    """Standard deviation of 1000 periods is 5 % of their mean, within its own error of 2.2 % (4 sigma)."""
    shaky = Ring(pattern="beep", start=0, count=1001, period=4, jitter=5)
    periods = np.diff([beep.onset for beep in plan(Scenario(duration=9000, alarms=(shaky,))).truth.beeps])
    assert len(periods) == 1000
    assert np.std(periods) / 4 == pytest.approx(0.05, rel=0.09)
    assert np.mean(periods) == pytest.approx(4, rel=0.007)


def test_what_is_no_alarm_is_none_in_the_truth() -> None:
    """Hum and thump are others; chirps and plain beeps are beeps without an alarm."""
    scenario = Scenario(
        duration=100,
        alarms=(
            Ring(pattern="hum", start=10, length=30),
            Ring(pattern="chirp", start=5),
            Ring(pattern="beep", start=50, count=2),
            Ring(pattern="medical-medium", start=60, count=2),
        ),
        thumps=(Thump(start=1),),
    )
    truth = plan(scenario).truth
    assert [other.label for other in truth.others] == ["thump", "hum"]
    assert [(alarm.pattern, alarm.priority, alarm.beeps) for alarm in truth.alarms] == [("medical-medium", "medium", 6)]
    labels = [beep.label for beep in truth.beeps]
    assert labels == ["chirp", "beep", "beep", *["medical-medium"] * 3, "chirp", *["medical-medium"] * 3]


def test_the_end_of_the_scene_cuts_beep_and_alarm() -> None:
    """What would begin later is left out, what sounds at the end ends there."""
    truth = plan(Scenario(duration=30, alarms=(Ring(pattern="battery-critical", start=15),))).truth
    assert [(beep.onset, beep.offset) for beep in truth.beeps] == [(15, 30)]
    assert truth.alarms[0].end == 30


def test_tsv_holds_a_row_a_beep_and_a_row_an_alarm() -> None:
    """Header and columns as event-detection toolkits read them."""
    truth = plan(Scenario(duration=30, alarms=(Ring(pattern="battery-critical", start=2, drift=1),))).truth
    assert as_tsv(truth).splitlines() == [
        "onset\toffset\tevent_label\tfrequency",
        "2.000\t22.000\tbattery-critical\t",
        "2.000\t22.000\tbeep\t2730.68",
    ]
