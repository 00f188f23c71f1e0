"""Two ways of waking: for the night, again and again; for a recording, each alarm once, in order of urgency."""

from queue import SimpleQueue

import pytest

from beepwatch.channels.rounds import render
from beepwatch.channels.speaker import Failed, Started
from beepwatch.events import Changed, Ended, Raised
from beepwatch.waking.actions import Note, Show
from beepwatch.waking.messages import Messages
from beepwatch.watch.preview import Preview
from beepwatch.watch.waker import Report, Waker
from tests.watch.hand import HandClock, HandSpeaker, alarm


class Bedside:
    """A waker of either kind with a speaker in the test's hand."""

    def __init__(self) -> None:
        self.hand = HandClock()
        self.reports: SimpleQueue[Report] = SimpleQueue()
        self.speaker = HandSpeaker(self.hand, self.reports)
        self.preview = Preview(self.speaker, self.reports, Messages())
        self.waker = Waker(self.speaker, self.reports, Messages())

    def start(self, number: int) -> None:
        """The speaker says that it begins."""
        self.reports.put(Started(self.hand.now, (number,)))
        self.preview.reports()

    def go_on(self, seconds: float) -> None:
        for _ in range(round(seconds * 4)):
            self.hand.go_on(0.25)
            self.preview.tick(self.hand.now)

    @property
    def order(self) -> list[int]:
        return [numbers[0] for _, numbers, _ in self.speaker.played]


@pytest.fixture
def bedside() -> Bedside:
    return Bedside()


def test_at_night_the_speaker_is_told_first_and_the_rest_is_handed_on(bedside: Bedside) -> None:
    """Raised: played at once; what comes back is for the screen and the history only."""
    actions = bedside.waker.hear(Raised(9.3, alarm()), 1009.3)
    assert bedside.order == [1]
    assert [type(action) for action in actions] == [Show, Note]
    assert not bedside.waker.busy


def test_without_a_speaker_it_only_shows(bedside: Bedside) -> None:
    """`--silent`: the same words on the screen."""
    waker = Waker(None, SimpleQueue(), Messages())
    assert any(isinstance(action, Show) for action in waker.hear(Raised(9.3, alarm()), 1009.3))
    assert waker.close()


def test_a_preview_plays_each_alarm_once(bedside: Bedside) -> None:
    """A round is through when its tone and words are; then there is nothing left to play."""
    bedside.preview.hear(Raised(9.3, alarm(1)), bedside.hand.now)
    assert bedside.order == [1]
    bedside.start(1)
    samples, _ = render_of(bedside)
    bedside.go_on(samples / 8000 - 0.5)
    assert bedside.preview.busy
    bedside.go_on(1.0)
    assert not bedside.preview.busy
    assert bedside.order == [1]
    assert bedside.speaker.quiet


def render_of(bedside: Bedside) -> tuple[int, bool]:
    playing = bedside.preview._playing
    assert playing is not None
    samples, complete = render(playing, None, 8_000)
    return len(samples), complete


def test_the_most_urgent_of_those_that_wait_is_next(bedside: Bedside) -> None:
    """What plays is played to its end; then high priority goes before medium."""
    bedside.preview.hear(Raised(9, alarm(1)), bedside.hand.now)
    bedside.preview.hear(Raised(30, alarm(2, "backup-battery", "medium")), bedside.hand.now)
    bedside.preview.hear(Raised(60, alarm(3, "battery-critical")), bedside.hand.now)
    for number in (1, 3, 2):
        bedside.start(number)
        bedside.go_on(15.0)
    assert bedside.order == [1, 3, 2]
    assert not bedside.preview.busy


def test_a_key_cuts_the_round_short(bedside: Bedside) -> None:
    """Acknowledged: noted for the alarm that played, and the next one begins."""
    bedside.preview.hear(Raised(9, alarm(1)), bedside.hand.now)
    bedside.preview.hear(Raised(60, alarm(2, "battery-critical")), bedside.hand.now)
    (note,) = bedside.preview.acknowledge(bedside.hand.now)
    assert note == Note(1, "acknowledged", bedside.hand.now)
    assert bedside.order == [1, 2]
    bedside.preview.acknowledge(bedside.hand.now)
    assert bedside.preview.acknowledge(bedside.hand.now) == []


def test_a_preview_shows_a_new_name_and_no_end(bedside: Bedside) -> None:
    """Renamed alarms are told again; further beeps and the end are not."""
    renamed = alarm(1, "battery-critical")
    assert bedside.preview.hear(Changed(20, renamed, was="lead-disconnect"), bedside.hand.now)
    assert bedside.preview.hear(Changed(30, renamed), bedside.hand.now) == []
    assert bedside.preview.hear(Ended(40, renamed), bedside.hand.now) == []


def test_low_priority_is_only_shown(bedside: Bedside) -> None:
    """What would not wake in the night makes no sound in the preview."""
    actions = bedside.preview.hear(Raised(9, alarm(1, "unknown", "low")), bedside.hand.now)
    assert [type(action) for action in actions] == [Show]
    assert bedside.order == []


def test_a_speaker_that_fails_ends_the_waiting(bedside: Bedside) -> None:
    """Nothing can be played: the recording's end waits for nothing."""
    bedside.preview.hear(Raised(9, alarm(1)), bedside.hand.now)
    bedside.reports.put(Failed(bedside.hand.now, "there is no speaker"))
    assert [type(report) for report in bedside.preview.reports()] == [Failed]
    assert not bedside.preview.busy
    bedside.preview.hear(Raised(60, alarm(2)), bedside.hand.now)
    assert not bedside.preview.busy
