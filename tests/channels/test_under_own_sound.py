"""A device's beeps go on under our own wake sound in the room: they are followed (figures: `tests.bench.loud`)."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from beepwatch.channels.tone import OWN_SOUND
from beepwatch.events import AlarmEvent, Changed, Ended, Event, Raised
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.waking.actions import Note
from beepwatch.waking.escalation import Escalation
from beepwatch.waking.table import UNMENDED
from tests.bench.loud import LAST, OWN, TAIL, Case, listen, outcome, own_sound, scene

LEAD = Case("lead-disconnect", 2730.0, 6.0, False, True, 3)
BATTERY = Case("battery-critical", 3150.0, 12.0, False, True, 100)


@pytest.fixture(scope="module")
def told() -> Callable[[Case], list[Event]]:
    """What is told of a case's scene."""
    own = own_sound(OWN + LAST + TAIL, "lead-disconnect")

    def events(case: Case) -> list[Event]:
        return listen(scene(case, own)[0], Recognizer(tone=case.tone), OWN)

    return events


def test_breaths_beeps_are_followed_under_it(told: Callable[[Case], list[Event]]) -> None:
    """Our tone 6 dB over the device's: nine beeps of ten are found, none is said to be the last but the last."""
    own = own_sound(OWN + LAST + TAIL, "lead-disconnect")
    made = outcome(LEAD, scene(LEAD, own)[1], told(LEAD))
    assert made.found >= 0.9 * made.beeps
    assert (made.early, made.other) == (0, ())
    assert made.latest < 0.5
    assert made.ended is not None
    assert 25 < made.ended < 70


def test_a_long_tone_is_followed_under_a_louder_one(told: Callable[[Case], list[Event]]) -> None:
    """The last battery's 20 s under our tone, four times as strong: every one counts, no end is told."""
    events = told(BATTERY)
    alarms = [event for event in events if isinstance(event, AlarmEvent)]
    assert [type(event) for event in alarms if not isinstance(event, Changed)] == [Raised]
    assert alarms[-1].alarm.beeps == 3


def test_beeping_after_an_answer_is_heard_under_another_alarms_sound(told: Callable[[Case], list[Event]]) -> None:
    """90 s after "I am going" the beeps that go on wake again, though another alarm's wake tone sounds meanwhile."""
    core, again, answered = Escalation(), list[float](), 0.0
    for event in told(LEAD):
        if not isinstance(event, AlarmEvent):
            continue
        now = event.at
        notes = [action for action in core.hear(event, now) if isinstance(action, Note)]
        again += [now for note in notes if note.kind == "again"]
        if not answered and now > OWN:
            answered = now
            core.acknowledge(now)
    assert again
    assert UNMENDED <= again[0] - answered < UNMENDED + 10


def test_where_it_sounds_any_split_gives_the_same() -> None:
    """What we sound is told between two pushes; how the samples are split beside that changes nothing."""
    own = own_sound(OWN + LAST + TAIL, "lead-disconnect")
    sound = scene(LEAD, own)[0][round((OWN - 12) * RATE) : round((OWN + 15) * RATE)]
    rng, begin = np.random.default_rng(5), 12 * RATE
    whole, parts = Recognizer(), Recognizer()
    expected = whole.push(sound[:begin])
    whole.own_sound(OWN_SOUND)
    expected += [*whole.push(sound[begin:]), *whole.flush()]
    heard, cuts = list[Event](), np.unique([0, begin, len(sound), *rng.integers(0, len(sound), 60)])
    for a, b in pairwise(cuts.tolist()):
        if a == begin:
            parts.own_sound(OWN_SOUND)
        heard += parts.push(sound[a:b])
    assert heard + parts.flush() == expected


def test_an_end_is_told_once_a_long_tone_may_be_heard_again() -> None:
    """While we sound a missing long tone does not end its alarm; once we are silent it does, as always."""
    case = Case("battery-critical", 3150.0, 0.0, False, True, 100)
    own = np.zeros(round((OWN + LAST + TAIL) * RATE))
    own[: round(0.3 * RATE)] = np.sin(2 * np.pi * 520 / RATE * np.arange(round(0.3 * RATE)))
    sound = scene(case, own)[0][: round(70 * RATE)]
    ears, events = Recognizer(tone=case.tone), list[Event]()
    events += ears.push(sound[: round(30 * RATE)])
    ears.own_sound(OWN_SOUND)
    hiss = np.random.default_rng(1).normal(0, 1e-3, 300 * RATE).astype(np.float32)
    events += ears.push(hiss)
    assert [event for event in events if isinstance(event, Ended)] == []
    ears.own_sound(None)
    events += ears.push(hiss)
    assert len([event for event in events if isinstance(event, Ended)]) == 1
