"""What holds for any beeps: ticks change nothing, the past decides alone, no alarm twice, a bounded state."""

import time
from collections.abc import Sequence

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from beepwatch.events import Beep, Changed, Character, Ended, Heard, Noise, Raised
from beepwatch.patterns import Matcher
from tests.patterns.simulated import beep, breaths, bursts, final, known, names, run, sounding

TONES = st.sampled_from([880.0, 2000.0, 2010.0, 2730.0, 4000.0, 5460.0])
LENGTHS = st.sampled_from([0.1, 0.2, 0.5, 1.0, 1.2, 5.0, 10.0, 20.0])
STRAY = st.builds(
    beep,
    st.floats(0, 900),
    LENGTHS,
    TONES,
    character=st.builds(
        Character, company=st.sampled_from([-10.0, 5.0, 30.0]), neighbours=st.sampled_from([8.0, 30.0])
    ),
)
RUNS = st.builds(breaths, st.integers(2, 12), st.sampled_from([1.0, 2.0, 5.0, 9.0]), LENGTHS, st.floats(0, 600), TONES)
GROUPS = st.builds(
    lambda start, tone: bursts((0, 1, 2), 0.5, 4.0, 4, frequency=tone, start=start), st.floats(0, 600), TONES
)
NOISES = st.lists(st.sampled_from([-70.0, -20.0]), min_size=0, max_size=40).map(
    lambda levels: [Noise(2.0 + 24.0 * k, ((6000.0, level),)) for k, level in enumerate(levels)]
)
LATE = st.builds(sounding, st.floats(0, 900), st.sampled_from([13.0, 23.0]), TONES)
NIGHTS = st.tuples(
    st.lists(STRAY, max_size=30), st.lists(RUNS | GROUPS, max_size=4), st.lists(LATE, max_size=3), NOISES
).map(lambda parts: [*parts[0], *(one for group in parts[1] for one in group), *parts[2], *parts[3]])
HEARD = st.none() | TONES
RELAXED = settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow])


@RELAXED
@given(NIGHTS.filter(bool), HEARD, st.lists(st.floats(0, 4000), max_size=40))
def test_ticks_at_any_times_change_nothing(night: Sequence[Heard], tone: float | None, ticks: Sequence[float]) -> None:
    """The same events, stamped alike, whether the clock is told often or never: any split equals the whole."""
    assert run(night, tone=tone, ticks=ticks, until=5000) == run(night, tone=tone, until=5000)


@RELAXED
@given(NIGHTS.filter(bool), HEARD)
def test_the_past_alone_decides(night: Sequence[Heard], tone: float | None) -> None:
    """Cutting the stream at `raised` still gives the alarm, as it then stood."""
    whole = run(night, tone=tone)
    for event in whole:
        if isinstance(event, Raised):
            cut = [heard for heard in night if known(heard) <= event.at]
            assert event in run(cut, tone=tone, until=event.at)


@RELAXED
@given(NIGHTS.filter(bool), HEARD)
def test_no_pattern_is_open_twice_on_one_tone(night: Sequence[Heard], tone: float | None) -> None:
    """Raised, changed, ended, in this order, and never two open alarms of one pattern and tone."""
    now_open: dict[int, tuple[str, float]] = {}
    ended: set[int] = set()
    last = 0.0
    for event in run(night, tone=tone, until=20000):
        assert event.at >= last
        last = event.at
        number, alarm = event.alarm.number, event.alarm
        match event:
            case Raised():
                assert number not in now_open
                assert number not in ended
                assert not any(
                    name == alarm.pattern and abs(hertz / alarm.frequency - 1) < 0.004
                    for name, hertz in now_open.values()
                )
            case Changed():
                assert number in now_open or number in ended
            case Ended():
                assert number in now_open
                assert alarm.ended == alarm.last <= event.at
                ended.add(number)
        now_open[number] = (alarm.pattern, alarm.frequency)
        if isinstance(event, Ended):
            del now_open[number]
        assert 0.0 <= alarm.confidence <= 1.0
        assert alarm.onset <= alarm.last
        assert alarm.why


@RELAXED
@given(st.permutations(breaths(6) + [beep(90 + 0.3 * k, 0.2, 1500) for k in range(4)]))
def test_order_of_arrival_decides_nothing_but_time(night: Sequence[Beep]) -> None:
    """Events are put in order of `known` by hearing; how they were listed before is nothing."""
    assert names(run(night)) == ["lead-disconnect"]


def crowd(count: int) -> list[Beep]:
    """Dense music: 24 000 beeps an hour on the notes of a scale, of every length up to 2 s."""
    return [
        beep(
            0.15 * k,
            (0.12, 0.3, 0.5, 0.9, 1.4)[k % 5],
            440.0 * 2 ** ((k * 7 % 24) / 12),
            character=Character(company=-4.0, neighbours=12.0),
        )
        for k in range(count)
    ]


def spent(matcher: Matcher, beeps: Sequence[Beep]) -> float:
    """CPU seconds for one beep."""
    start = time.process_time()
    for one in beeps:
        matcher.hear(one)
    return (time.process_time() - start) / len(beeps)


def test_a_beep_in_a_quiet_night_costs_under_half_a_millisecond() -> None:
    """An alarm of 2000 beeps, each its own event."""
    assert spent(Matcher(), breaths(2000)) < 5e-4


def test_dense_music_costs_the_same_after_twenty_minutes() -> None:
    """24 000 beeps an hour: bounded queues, so the last thousand cost what the second thousand did."""
    matcher, beeps = Matcher(), crowd(8000)
    spent(matcher, beeps[:1000])
    early = spent(matcher, beeps[1000:4000])
    spent(matcher, beeps[4000:7000])
    assert spent(matcher, beeps[7000:]) < 3 * early + 1e-3


def test_the_longest_night_keeps_one_alarm() -> None:
    """Eight hours of beeping are one alarm with one number, and its figures stay right."""
    (alarm,) = final(run(breaths(5760)))
    assert (alarm.number, alarm.beeps) == (1, 5760)
    assert alarm.period == pytest.approx(5.0, rel=1e-6)
