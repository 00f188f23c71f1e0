"""The rhythms of the standards, at both ends of each tolerance, and counted: a period alone proves nothing."""

from collections.abc import Sequence

import pytest

from beepwatch.events import Beep
from tests.patterns.simulated import bursts, names, run

FIRE = ((0.0, 1.0, 2.0), 0.5, 4.0)
"""Temporal three: 0.5 s on, 0.5 s off, three times, then 1.5 s off; each +-10 % (ISO 8201, NFPA 72, as quoted in
building-code texts)."""
HIGH = (0.0, 0.25, 0.5, 1.0, 1.25, 2.25, 2.5, 2.75, 3.25, 3.5)
"""Ten pulses of 150 ms, x = 100 ms, 3-4 spacing 2x + pulse, 5-6 spacing 0.85 s (IEC 60601-1-8 Table 3, quoted)."""


def temporal_three(on: float = 0.5, off: float = 0.5, pause: float = 1.5, count: int = 4) -> list[Beep]:
    """The evacuation signal of given times, s."""
    step = on + off
    return bursts((0.0, step, 2 * step), on, 2 * step + on + pause, count)


def temporal_four(pulse: float = 0.1, gap: float = 0.1, pause: float = 5.0, count: int = 4) -> list[Beep]:
    """The carbon monoxide signal of given times, s."""
    step = pulse + gap
    return bursts([step * index for index in range(4)], pulse, 3 * step + pulse + pause, count)


def medium(pulse: float = 0.2, gap: float = 0.2, repeat: float = 10.0, count: int = 5) -> list[Beep]:
    """A medium priority burst of given times, s, its pause `repeat`."""
    step = pulse + gap
    return bursts((0.0, step, 2 * step), pulse, 2 * step + pulse + repeat, count, frequency=880.0)


def high(scale: float, middle: float, repeat: float, pulse: float, count: int = 4) -> list[Beep]:
    """A high priority burst: spacing `scale`, 5-6 spacing `middle`, pulses of `pulse`, its pause `repeat`;
    s.
    """
    gaps = [scale, scale, 2 * scale + pulse, scale, middle, scale, scale, 2 * scale + pulse, scale]
    offsets = [0.0]
    for gap in gaps:
        offsets.append(offsets[-1] + pulse + gap)
    return bursts(offsets, pulse, offsets[-1] + pulse + repeat, count, frequency=880.0)


@pytest.mark.parametrize(
    ("on", "off", "pause"),
    [
        (0.5, 0.5, 1.5),
        (0.455, 0.455, 1.37),
        (0.545, 0.545, 1.63),
        (0.455, 0.545, 1.5),
        (0.545, 0.455, 1.5),
    ],
)
def test_temporal_three_inside_its_tolerance_is_fire(on: float, off: float, pause: float) -> None:
    """ISO 8201 / NFPA 72 (quoted): every time within 10 % is the evacuation signal, at either end."""
    assert names(run(temporal_three(on, off, pause))) == ["fire"]


@pytest.mark.parametrize(
    ("on", "off", "pause"),
    [
        (0.42, 0.5, 1.5),
        (0.58, 0.5, 1.5),
        (0.5, 0.42, 1.5),
        (0.5, 0.58, 1.5),
        (0.5, 0.5, 1.25),
        (0.5, 0.5, 1.75),
    ],
)
def test_temporal_three_outside_its_tolerance_is_not_fire(on: float, off: float, pause: float) -> None:
    """ISO 8201 / NFPA 72 (quoted): one time more than 10 % off and it is no evacuation signal, nor a device's alarm."""
    assert set(names(run(temporal_three(on, off, pause)))) <= {"unknown"}


@pytest.mark.parametrize("tone", [None, 3100.0])
def test_fire_is_named_with_the_second_group(tone: float | None) -> None:
    """Two groups of three with the pause between are enough, also where the taught device has that very tone."""
    told = run(temporal_three(count=2), tone=tone)
    assert names(told) == ["fire"]


@pytest.mark.parametrize("pause", [4.55, 5.0, 5.45, 55.0, 65.0])
def test_temporal_four_is_carbon_monoxide(pause: float) -> None:
    """NFPA 72/720, UL 2034 (quoted; tolerances from memory): four pulses, 5 s pause, later once a minute."""
    assert names(run(temporal_four(pause=pause))) == ["carbon-monoxide"]


@pytest.mark.parametrize("pause", [4.2, 5.8, 20.0, 50.0, 70.0])
def test_four_pulses_with_another_pause_are_not_carbon_monoxide(pause: float) -> None:
    """The same sources: any other pause is not the signal, nor a device's alarm."""
    assert set(names(run(temporal_four(pause=pause)))) <= {"unknown"}


@pytest.mark.parametrize("count", [2, 3, 5, 6])
def test_pulses_are_counted_in_a_group(count: int) -> None:
    """Another count of 0.1 s pulses every 5.7 s is not carbon monoxide: the period alone proves nothing."""
    told = run(bursts([0.2 * index for index in range(count)], 0.1, 5.7, 5))
    assert "carbon-monoxide" not in names(told)


@pytest.mark.parametrize("count", [1, 2, 4])
def test_half_second_pulses_are_counted_in_a_group(count: int) -> None:
    """1, 2 or 4 half-second pulses, 1 s apart, are no evacuation signal."""
    told = run(bursts([1.0 * index for index in range(count)], 0.5, 1.0 * count + 1.0, 5))
    assert "fire" not in names(told)


@pytest.mark.parametrize(
    ("scale", "middle", "repeat", "pulse"),
    [(0.05, 0.35, 2.5, 0.075), (0.125, 1.30, 15.0, 0.2), (0.1, 0.8, 8.0, 0.15)],
)
def test_ten_pulse_burst_is_medical_high(scale: float, middle: float, repeat: float, pulse: float) -> None:
    """IEC 60601-1-8 Tables 3 and 4 (quoted): 3 + 2, gap, 3 + 2, at both ends of every range."""
    assert names(run(high(scale, middle, repeat, pulse))) == ["medical-high"]


@pytest.mark.parametrize(
    ("scale", "middle", "repeat", "pulse"),
    [
        (0.16, 0.8, 8.0, 0.15),
        (0.1, 0.3, 8.0, 0.15),
        (0.1, 1.4, 8.0, 0.15),
        (0.1, 0.8, 17.0, 0.15),
        (0.1, 0.8, 2.2, 0.15),
        (0.1, 0.8, 8.0, 0.24),
    ],
)
def test_burst_outside_the_ranges_is_not_medical_high(scale: float, middle: float, repeat: float, pulse: float) -> None:
    """IEC 60601-1-8 Tables 3 and 4 (quoted): one time outside and it is not a high priority burst."""
    assert "medical-high" not in names(run(high(scale, middle, repeat, pulse)))


@pytest.mark.parametrize(
    ("pulse", "gap", "repeat"),
    [(0.13, 0.13, 2.5), (0.245, 0.245, 29.0), (0.2, 0.15, 10.0), (0.2, 0.24, 10.0)],
)
def test_three_pulse_burst_is_medical_medium(pulse: float, gap: float, repeat: float) -> None:
    """IEC 60601-1-8 Tables 3 and 4 (quoted; 30 s from memory): three pulses at both ends of every range."""
    assert names(run(medium(pulse, gap, repeat))) == ["medical-medium"]


@pytest.mark.parametrize(
    ("pulse", "gap", "repeat"),
    [(0.10, 0.2, 10.0), (0.28, 0.2, 10.0), (0.2, 0.10, 10.0), (0.2, 0.28, 10.0), (0.2, 0.2, 34.0)],
)
def test_three_pulses_outside_are_not_medical_medium(pulse: float, gap: float, repeat: float) -> None:
    """IEC 60601-1-8 Tables 3 and 4 (quoted): one time outside and it is not a medium priority burst."""
    assert "medical-medium" not in names(run(medium(pulse, gap, repeat)))


@pytest.mark.parametrize("tone", [None, 880.0])
@pytest.mark.parametrize("offsets", [(0.0,), (0.0, 0.4)])
def test_medical_low_priority_is_no_alarm_that_wakes(offsets: Sequence[float], tone: float | None) -> None:
    """One or two pulses every 16 s or more (IEC 60601-1-8, quoted) name nothing but `unknown`."""
    told = run(bursts(offsets, 0.2, 20.0, 12, frequency=880.0), tone=tone)
    assert set(names(told)) <= {"unknown"}


@pytest.mark.parametrize("missed", [1, 2])
def test_fire_is_named_though_whole_groups_are_missed(missed: int) -> None:
    """Up to two groups may go unheard between two heard ones."""
    beeps = temporal_three(count=3 * (missed + 1))
    heard = [beep for index, beep in enumerate(beeps) if (index // 3) % (missed + 1) == 0]
    assert names(run(heard)) == ["fire"]
