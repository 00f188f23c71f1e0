"""A loop that stands still is sounded from beside it, and quiet once it goes on."""

from beepwatch.channels.rounds import Round
from beepwatch.watch.sentinel import STANDS, Sentinel


class Bed:
    """A loop, a clock and a speaker in the test's hand."""

    def __init__(self) -> None:
        self.beat, self.now = 1, 100.0
        self.played: list[Round] = []
        self.stops = 0
        self.said: list[str] = []
        self.sentinel = Sentinel(lambda: self.beat, self, lambda: ("Listen.",), self.said.append, lambda: self.now)

    def play(self, round_: Round) -> None:
        self.played.append(round_)

    def stop(self) -> None:
        self.stops += 1

    def go_on(self, seconds: float, *, beating: bool) -> None:
        for _ in range(round(seconds * 2)):
            self.now += 0.5
            self.beat += beating
            self.sentinel.look()


def test_a_loop_that_goes_on_is_left_alone() -> None:
    """An hour."""
    bed = Bed()
    bed.go_on(3600.0, beating=True)
    assert (bed.played, bed.stops, bed.said) == ([], 0, [])


def test_one_that_stands_still_is_sounded_within_ten_seconds_and_once() -> None:
    """High priority, with the words for it; when it goes on, quiet and said."""
    bed = Bed()
    bed.go_on(2.0, beating=True)
    bed.go_on(STANDS, beating=False)
    assert bed.played == []
    bed.go_on(1.0, beating=False)
    assert STANDS + 1.0 < 10.0
    assert bed.played == [Round((0,), "high", ("Listen.",))]
    bed.go_on(60.0, beating=False)
    assert len(bed.played) == 1
    bed.go_on(1.0, beating=True)
    assert bed.stops == 1
    assert bed.said == ["I CANNOT HEAR THE ROOM: the program stands still.", "The program goes on."]


def test_before_the_loop_has_begun_nothing_is_wrong() -> None:
    """Opening a microphone may take its time."""
    bed = Bed()
    bed.beat = 0
    bed.go_on(60.0, beating=False)
    assert bed.played == []


def test_the_end_is_quiet() -> None:
    """Closed while it sounds: silent."""
    bed = Bed()
    bed.go_on(STANDS + 2.0, beating=False)
    bed.sentinel.close()
    assert bed.stops == 1
