"""The end of a process that hangs: only where a fresh one would not, and only after a time."""

import pytest

from beepwatch.watch.lastresort import HUNG, LastResort


class Bed:
    """The sound system in the test's hand."""

    def __init__(self) -> None:
        self.hangs, self.fresh = False, False
        self.asked = self.left = 0
        self.resort = LastResort(lambda: self.hangs, self.answers, self.leave)
        self.now = 0.0

    def answers(self) -> bool:
        self.asked += 1
        return self.fresh

    def leave(self) -> None:
        self.left += 1

    def go_on(self, seconds: float) -> None:
        for _ in range(round(seconds)):
            self.now += 1.0
            self.resort.look(self.now)
            if self.resort._asked is not None:
                self.resort._asked.done(10)


def test_while_it_works_nobody_is_asked() -> None:
    """An hour."""
    bed = Bed()
    bed.go_on(3600)
    assert (bed.asked, bed.left) == (0, 0)


@pytest.mark.parametrize("fresh", [True, False])
def test_hung_for_a_minute_a_fresh_process_decides(fresh: bool) -> None:
    """It answers: this one ends. It does not: the server hangs for all, and this one goes on sounding."""
    bed = Bed()
    bed.hangs, bed.fresh = True, fresh
    bed.go_on(HUNG)
    assert bed.asked == 0
    bed.go_on(5)
    assert (bed.asked, bed.left) == (1, int(fresh))
    bed.go_on(HUNG + 5)
    assert bed.asked == 2


def test_a_short_hang_is_forgotten() -> None:
    """Half a minute, twice."""
    bed = Bed()
    for _ in range(2):
        bed.hangs = True
        bed.go_on(HUNG / 2)
        bed.hangs = False
        bed.go_on(5)
    assert bed.asked == 0
