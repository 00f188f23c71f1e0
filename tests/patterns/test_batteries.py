"""Long tones: whole, broken, joined on their way, too long, superseded."""

from dataclasses import replace

import pytest

from beepwatch.events import AlarmEvent, Changed, Character, Heard, Noise, Sounding, SteadyTone
from tests.patterns.simulated import LATENCY, beep, breaths, ends, final, named, names, raised_at, run, sounding

MUSICAL = Character(company=-12.0)
"""A long tone with another tone nearly as loud: it must come twice."""


@pytest.mark.parametrize(
    ("length", "name"),
    [(9.4, "backup-battery"), (10.6, "backup-battery"), (18.8, "battery-critical"), (21.2, "battery-critical")],
)
def test_a_tone_within_6_percent_is_named_at_once(length: float, name: str) -> None:
    """A timer's 10 s and 20 s: no known tone is needed."""
    assert names(run([beep(3, length)])) == [name]


@pytest.mark.parametrize(
    ("length", "name", "period"),
    [
        (8.6, "backup-battery", 3600.0),
        (11.4, "backup-battery", 3600.0),
        (17.1, "battery-critical", 60.0),
        (22.9, "battery-critical", 60.0),
    ],
)
def test_a_tone_within_15_percent_is_named_where_it_is_known_or_comes_again(
    length: float, name: str, period: float
) -> None:
    """10 s and 20 s +-15 % (the profiles' own bounds): held notes have such lengths, so one alone is no alarm."""
    assert names(run([beep(3, length)], tone=2730.0)) == [name]
    assert names(run([beep(3, length)])) == []
    assert names(run([beep(3, length), beep(3 + period, length)])) == [name]


@pytest.mark.parametrize("length", [3.0, 6.0, 8.3, 11.7, 16.7, 23.4, 47.0])
@pytest.mark.parametrize("tone", [None, 2730.0])
def test_a_tone_outside_is_not_named(length: float, tone: float | None) -> None:
    """Just outside, and a kettle's 47 s: nothing, even on the taught tone, once it has ended."""
    assert names(run([beep(3, length)], tone=tone)) == []


@pytest.mark.parametrize(
    "pieces",
    [
        [(0.0, 6.0), (6.5, 13.5)],
        [(0.0, 12.0), (13.0, 7.0)],
        [(0.0, 5.0), (5.6, 4.4), (10.5, 9.5)],
        [(0.0, 5.0), (6.0, 4.0), (10.6, 4.4), (15.5, 4.5)],
        [(0.0, 10.0), (10.8, 9.2)],
        [(0.0, 17.5), (18.0, 2.0)],
    ],
)
def test_a_broken_twenty_second_tone_is_battery_critical(pieces: list[tuple[float, float]]) -> None:
    """Two to four pieces are one tone; one alarm comes of it, whatever its first piece was taken for."""
    told = run([beep(3 + onset, duration) for onset, duration in pieces])
    assert names(told)[-1] == "battery-critical"
    (alarm,) = final(told)
    assert alarm.beeps == 1
    assert (alarm.onset, alarm.duration, alarm.last) == pytest.approx((3.0, 20.0, 23.0))


def test_breaths_are_never_joined_to_a_long_tone() -> None:
    """Ten beeps of 1.4 s, one every 2 s, last 20 s and are no broken tone."""
    assert names(run(breaths(10, period=3.0, duration=1.2))) == ["lead-disconnect"]


def test_a_musical_long_tone_must_come_twice() -> None:
    """With other tones as loud as itself one 20 s tone is not enough; a second one a minute later is."""
    first, second = (beep(3 + 60 * index, 20.0, character=MUSICAL) for index in range(2))
    assert names(run([first])) == []
    told = run([first, second])
    assert names(told) == ["battery-critical"]
    assert final(told)[0].beeps == 2


def test_critical_closes_backup_as_superseded() -> None:
    """The open backup-battery ends at its own last beep when battery-critical takes its place, and says so."""
    told = run([beep(3, 10.0), beep(900, 20.0)])
    (end,) = ends(told)
    assert end.alarm.pattern == "backup-battery"
    assert (end.at, end.alarm.ended) == pytest.approx((920 + LATENCY, 13.0))
    assert "battery-critical took its place" in end.alarm.why


def test_battery_critical_ends_after_three_due_times() -> None:
    """Nothing at three due times (+10 %): over, at the end of its last tone."""
    told = run([beep(3 + 60 * index, 20.0) for index in range(3)], until=1000)
    (end,) = ends(told)
    assert end.alarm.ended == pytest.approx(143.0)
    assert end.at == pytest.approx(123 + 3 * 66 + 23 + 1)


def test_battery_critical_stays_open_while_two_due_times_pass() -> None:
    """Two missed tones do not end it: the next belongs to the same alarm."""
    told = run([beep(3 + 60 * index, 20.0) for index in (0, 3, 4)])
    assert names(told) == ["battery-critical"]
    assert ends(told) == []


def test_backup_battery_ends_after_two_due_times() -> None:
    """Nothing at two due times (60 min +5 %)."""
    told = run([beep(3, 10.0)], until=20000)
    (end,) = ends(told)
    assert end.at == pytest.approx(3 + 2 * 3780 + 11.5 + 1)


def test_a_tone_past_23_seconds_loses_its_name() -> None:
    """Named at 13 s, gone on past 23 s: `unknown`, told as a change that holds the old name, and why."""
    told = run([sounding(3, 13.0), sounding(3, 23.0), beep(3, 47.0)], tone=2730)
    assert names(told) == ["battery-critical", "unknown"]
    (alarm,) = final(told)
    assert (alarm.pattern, alarm.priority) == ("unknown", "medium")
    assert "goes on past 23 s" in alarm.why
    assert "unknown sound" in alarm.why


def test_a_tone_that_becomes_a_hum_loses_its_name() -> None:
    """A steady tone of over a minute is no battery alarm."""
    hum = SteadyTone(onset=3, frequency=2730.0, level=-30.0, known=63.0)
    assert names(run([sounding(3, 13.0), hum], tone=2730)) == ["battery-critical", "unknown"]


def test_an_untaught_tone_is_not_named_while_it_sounds() -> None:
    """Early naming needs a known tone; the end of the tone names it all the same."""
    told = run([sounding(3, 13.0), beep(3, 20.0)])
    assert raised_at(told) == pytest.approx(23 + LATENCY)


def test_a_second_critical_tone_is_told_while_it_sounds() -> None:
    """Once battery-critical is open its tone is known: at 13 s the alarm goes on, as one beep more."""
    told = run([beep(3, 20.0), sounding(63, 13.0), beep(63, 20.0)])
    changes = [event for event in told if isinstance(event, Changed)]
    assert changes[0].at == pytest.approx(63 + 13.1)
    (alarm,) = final(told)
    assert alarm.beeps == 2
    assert alarm.period == pytest.approx(60.0)


@pytest.mark.parametrize("rest", [13.0, 16.0, 19.0])
def test_a_tone_under_way_when_listening_began_is_named_once_it_is_too_long(rest: float) -> None:
    """Over 12 s of an unknown onset are no 10 s tone."""
    assert names(run([beep(0, rest, onset_known=False)])) == ["battery-critical"]


def test_the_rest_of_a_long_tone_waits_for_the_next() -> None:
    """8 s of an unknown onset may be either: the 20 s tone a minute later decides."""
    told = run([beep(0, 8.0, onset_known=False), beep(48, 20.0)], until=200)
    assert names(told) == ["battery-critical"]


def test_the_rest_of_a_long_tone_is_backup_when_nothing_follows() -> None:
    """With nothing at the time where battery-critical would come again it was the 10 s tone; told then."""
    told = run([beep(0, 8.0, onset_known=False)], until=200)
    assert named(told) == [("backup-battery", 8 + 66 + 23 + 1)]


def test_a_battery_tone_below_the_lower_limit_is_named_only_when_taught() -> None:
    """Untaught below 800 Hz nothing is named a device's alarm (judgement beside the profile)."""
    tone = [beep(3, 20.0, 600.0)]
    assert names(run(tone)) == []
    assert names(run(tone, tone=600.0)) == ["battery-critical"]


def pattern_of(events: list[AlarmEvent]) -> set[str]:
    """All names that ever were."""
    return {event.alarm.pattern for event in events}


def test_lead_disconnect_goes_on_around_and_inside_a_battery_tone() -> None:
    """One buzzer: the 20 s tone swallows the short beeps; both alarms are raised, neither ends, nothing is split."""
    short = [
        one
        for one in breaths(36, period=5.0)
        if not any(60 * k + 20 < one.end and one.onset < 60 * k + 40 for k in range(3))
    ]
    told = run([*short, *(beep(60 * k + 20, 20.0) for k in range(3))])
    assert sorted(names(told)) == ["battery-critical", "lead-disconnect"]
    assert ends(told) == []
    assert len(final(told)) == 2


def test_two_devices_of_different_tones_are_two_alarms() -> None:
    """Tracks go by tone: neither hides the other."""
    told = run([*breaths(8), *breaths(8, period=4.1, start=4.0, frequency=3300.0)])
    assert names(told) == ["lead-disconnect", "lead-disconnect"]
    assert sorted(round(alarm.frequency) for alarm in final(told)) == [2730, 3300]


def test_a_drone_of_two_long_tones_is_no_battery_alarm_at_once() -> None:
    """Another pure tone under way for most of the same time: the first 20 s tone is not named."""
    assert names(run([sounding(1, 19.0, 3680.0), beep(3, 20.0, 4200.0)])) == []


def test_a_long_tone_that_came_seconds_before_is_no_battery_alarm() -> None:
    """Battery tones are a minute apart: one of 8 s on the same tone 20 s earlier speaks against it."""
    assert names(run([beep(3, 8.0), beep(23, 20.0)])) == []


@pytest.mark.parametrize("tone", [1177.0, 4751.0])
def test_a_long_tone_outside_the_usual_sounders_must_come_twice(tone: float) -> None:
    """Below 1.6 and above 4.6 kHz one untaught 20 s tone costs evidence; a taught one does not."""
    assert names(run([beep(3, 10.0, tone)])) == []
    assert names(run([beep(3 + 60 * k, 20.0, tone) for k in range(2)])) == ["battery-critical"]
    assert names(run([beep(3, 10.0, tone)], tone=tone)) == ["backup-battery"]


@pytest.mark.parametrize(("loud", "name"), [(-40.0, ["battery-critical"]), (-5.0, [])])
def test_a_tone_far_below_the_noise_of_its_own_time_is_faint(loud: float, name: list[str]) -> None:
    """A room that grew loud with the tone: 25 dB under that noise even the taught tone must come twice."""
    noises = [Noise(2.0 * index, ((8000.0, -70.0 if index == 0 else loud),)) for index in range(8)]
    assert names(run([*noises, sounding(1.0, 13.0)], tone=2730.0)) == name


def test_a_like_tone_a_minute_before_helps_one_that_still_sounds() -> None:
    """Amid music a taught 20 s tone must come twice; the second is named at its 13 s, not at its end."""
    told = run([beep(3, 20.0, character=MUSICAL), sounding(63.0, 13.0, character=MUSICAL)], tone=2730.0)
    assert [name for name, _ in named(told)] == ["battery-critical"]
    assert raised_at(told) < 77.0


def test_a_rough_long_tone_is_none() -> None:
    """A long tone of purity 0.7 is a chord or a hum: not even the taught tone is named while it sounds."""
    assert names(run([sounding(3.0, 13.0, character=Character(purity=0.7))], tone=2730.0)) == []


def test_a_breathing_machine_at_its_loudest_just_before_the_onset_hides_nothing() -> None:
    """The noise of the tone's own time counts, not the SNR told at its onset."""
    noises = [Noise(2.0 * index, ((8000.0, -20.0),)) for index in range(8)]
    faint = replace(sounding(1.0, 13.0), snr=-22.0)
    assert names(run([*noises, faint], tone=2730.0)) == ["battery-critical"]


@pytest.mark.parametrize(("lasted", "named_early"), [(11.5, False), (12.1, True), (13.5, True)])
def test_a_tone_that_proves_a_little_shorter_than_asked_for_is_named(lasted: float, named_early: bool) -> None:
    """Told at 13 s by an onset that proved up to 1 s too soon: still no 10 s tone, which lasts 11.5 s at most."""
    assert names(run([sounding(3.0, lasted)], tone=2730.0)) == ["battery-critical"] * named_early


def test_a_backup_tone_that_became_critical_may_prove_as_much_shorter() -> None:
    """A 10 s tone 22 s before is the same device's, whether hearing tells the new tone at 13 s or at 12.6 s."""
    for lasted in (12.6, 13.3):
        told = run([beep(3, 10.0), sounding(25.0, lasted)], tone=2730.0)
        assert names(told) == ["backup-battery", "battery-critical"]


UNSURE = [(14.0, Character()), (13.3, Character(purity=0.83))]
"""(s that a tone had lasted when it was told, its character): told late, or not quite pure."""


@pytest.mark.parametrize(("lasted", "character"), UNSURE)
def test_a_doubtful_tone_under_way_is_named_at_its_end(lasted: float, character: Character) -> None:
    """A held note is told late, as it stands out late, or is not quite pure: the tone's own end has to tell. A note
    that goes on past 23 s is never named."""
    under_way = sounding(3.0, lasted, character=character)
    told = run([under_way, beep(3.0, 20.0, character=character)], tone=2730.0)
    assert names(told) == ["battery-critical"]
    assert raised_at(told) == pytest.approx(23.0 + LATENCY)
    assert names(run([under_way, sounding(3.0, 23.3, character=character)], tone=2730.0)) == []


@pytest.mark.parametrize(("lasted", "character"), UNSURE)
def test_a_like_tone_a_minute_before_takes_the_doubt_away(lasted: float, character: Character) -> None:
    """The second of two is named as it is told, though the first was not named at all (amid music)."""
    told = run([beep(3, 20.0, character=MUSICAL), sounding(63.0, lasted, character=character)], tone=2730.0)
    assert names(told) == ["battery-critical"]


@pytest.mark.parametrize("tone", [None, 2730.0])
def test_a_second_tone_that_begins_with_the_first_is_no_second_alarm(tone: float | None) -> None:
    """An overload makes tones of no simple ratio; one that begins a second later is another device's."""
    line = [beep(20.0 + 60 * k, 20.0) for k in range(3)]
    both = [replace(one, frequency=3690.0, level=one.level - 18) for one in line]
    other = [replace(one, onset=one.onset + 1, known=one.known + 1) for one in both]
    assert names(run([*line, *both], tone=tone)) == ["battery-critical"]
    assert names(run([*line, *other], tone=tone)) == ["battery-critical"] * 2


FADED = Character(flatness=13.0)
"""A null of the room takes a quarter of the tone: it must come twice."""


@pytest.mark.parametrize("tone", [None, 2730.0])
def test_a_tone_whose_end_was_lost_counts_as_heard_a_minute_before(tone: float | None) -> None:
    """In a null hearing may never tell the first tone's end, only that it passed 13 s: the second is named all the
    same, while it sounds where the tone is known. One that passed 23 s is no such tone, nor one two minutes before."""
    first, again = sounding(3.0, 13.2, character=FADED), sounding(63.0, 13.2, character=FADED)
    told = run([first, again, beep(63.0, 20.0, character=FADED)], tone=tone)
    assert names(told) == ["battery-critical"]
    assert raised_at(told) == pytest.approx(83.0 + LATENCY if tone is None else 76.3)
    last = beep(63.0, 20.0, character=FADED)
    assert names(run([again, last], tone=tone)) == []
    assert names(run([first, sounding(3.0, 23.2, character=FADED), again, last], tone=tone)) == []
    assert names(run([replace(first, onset=-57.0), again, last], tone=tone)) == []
    assert names(run([sounding(3.0, 14.5, character=FADED), again, last], tone=tone)) == []


def held(neighbours: float, level: float) -> Sounding:
    """A tone of 785 Hz that goes on beside the device's."""
    return replace(sounding(0.0, 13.9, 785.0, Character(neighbours=neighbours)), level=level)


@pytest.mark.parametrize(("neighbours", "named_early"), [(3.0, True), (20.0, False)])
def test_a_chord_held_in_music_is_no_second_tone_of_a_drone(neighbours: float, named_early: bool) -> None:
    """A line with others 3 dB below it beside it is music, and hides no battery alarm; a second clear tone is a
    drone's."""
    told = run([held(neighbours, -45.0), sounding(5.0, 13.2)], tone=2730.0)
    assert names(told) == ["battery-critical"] * named_early


@pytest.mark.parametrize(("level", "expected"), [(-53.0, ["battery-critical"]), (-35.0, [])])
def test_a_far_weaker_line_is_no_tone_that_came_before(level: float, expected: list[str]) -> None:
    """A line of the room at a third of the tone, 23 dB weaker, speaks against nothing; one about as loud does."""
    before = replace(sounding(1.4, 12.0, 910.0), level=level)
    assert names(run([before, beep(8.0, 20.0)])) == expected


def test_a_tone_under_louder_music_must_come_twice_unless_it_is_known() -> None:
    """Music holds pure notes, too, but seldom two of 20 s a minute apart. Under a snore or a hum one is enough."""
    under = Character(company=-3.0)
    notes = [beep(1 + 12 * k, 0.5, 1500.0 + 70 * k) for k in range(7)]
    tones = [beep(43 + 60 * k, 20.0, character=under) for k in range(2)]
    assert names(run([*notes, tones[0]])) == []
    assert names(run([*notes, *tones])) == ["battery-critical"]
    assert names(run([*notes, tones[0]], tone=2730.0)) == ["battery-critical"]
    assert names(run(tones[:1])) == ["battery-critical"]


@pytest.mark.parametrize(("tone", "named_early"), [(2740.0, True), (2767.0, False)])
def test_a_faint_tone_a_little_off_the_known_one_is_named_at_its_end(tone: float, named_early: bool) -> None:
    """One sounder strays less than 1 %, a synthesizer's note lies anywhere; a clear one is named at once."""
    notes = [beep(1 + 12 * k, 0.5, 1500.0 + 70 * k) for k in range(7)]
    early = replace(sounding(63.0, 13.2, tone), snr=-12.0)
    heard: list[Heard] = [*(one for one in notes if one.known < early.known), early]
    assert names(run(heard, tone=2730.0)) == ["battery-critical"] * named_early
    assert names(run([*heard, beep(63.0, 20.0, tone)], tone=2730.0)) == ["battery-critical"]
    assert names(run([replace(early, snr=0.0)], tone=2730.0)) == ["battery-critical"]


@pytest.mark.parametrize(
    ("tone", "snr", "taught", "named"),
    [
        (2750.0, -20.0, True, True),
        (2780.0, -20.0, True, False),
        (2750.0, -20.0, False, False),
        (2780.0, -12.0, True, True),
    ],
)
def test_a_faint_tone_just_on_the_taught_one_is_named_at_once(
    tone: float, snr: float, taught: bool, named: bool
) -> None:
    """Not an hour later: of other faint tones near the taught one a third lies within 1 %."""
    faint = replace(beep(3, 10.0, tone), snr=snr)
    assert names(run([faint], tone=2730.0 if taught else None)) == ["backup-battery"] * named


@pytest.mark.parametrize(("multiple", "named"), [(2.0, True), (2.02, False), (3.0, True)])
def test_a_tone_heard_at_just_a_multiple_of_the_taught_one_is_named_at_its_end(multiple: float, named: bool) -> None:
    """Its fundamental lies in a null of the room for all of the time; such as lie outside a sounder's usual tones."""
    tone = 580.0 * multiple
    told = run([sounding(3, 13.2, tone), beep(3, 20.0, tone)], tone=580.0)
    assert names(told) == ["battery-critical"] * named
    assert not named or raised_at(told) > 23.0


@pytest.mark.parametrize("tone", [None, 2730.0])
def test_a_breath_just_before_a_long_tone_is_no_piece_of_it(tone: float | None) -> None:
    """Of 1.7 s, a beep 0.4 s before a tone of 20 s would make it one of 22.1 s, which no clock counts for 20."""
    told = run([beep(3, 1.7), beep(5.1, 20.0)], tone=tone)
    assert names(told) == ["battery-critical"]
    assert final(told)[0].onset == pytest.approx(5.1)
    assert final(run([beep(3, 1.7), beep(5.1, 18.0)], tone=tone))[0].onset == pytest.approx(3.0)
