"""The second process's rules: killed, hung, or never begun is sounded; a person's end is none of these."""

import pytest

from beepwatch.watch.watchdog import LEAST, PAUSES, SILENT, START, Watchdog


class Day:
    """A watchdog on a clock of the test's; its orders with their times."""

    def __init__(self, *, insists: bool = False) -> None:
        self.now = 1000.0
        self.dog = Watchdog(self.now, insists=insists)
        self.orders: list[tuple[float, str]] = []
        self.code: int | None = None

    def go_on(self, seconds: float, *, hears: bool = False, alarms: bool = False) -> None:
        for _ in range(round(seconds * 4)):
            self.now += 0.25
            if hears:
                self.dog.hears(self.now)
            if alarms:
                self.dog.alarms(self.now)
            for order in self.dog.look(self.now):
                self.orders.append((self.now - 1000.0, order.act))
                if order.act == "start":
                    self.dog.started(self.now)
                elif order.act == "kill":
                    self.dog.ended(self.now, -9)
                elif order.act == "over":
                    self.code = order.code

    @property
    def acts(self) -> list[str]:
        return [act for _, act in self.orders]


def well(*, insists: bool = False) -> Day:
    """A first process that has listened for a minute."""
    day = Day(insists=insists)
    day.go_on(2.0)
    day.go_on(60.0, hears=True)
    day.orders.clear()
    return day


def test_a_healthy_night_gives_no_order_but_the_start() -> None:
    """Ten hours of signs of life."""
    day = Day()
    day.go_on(2.0)
    day.go_on(36_000.0, hears=True)
    assert day.acts == ["start"]


def test_killed_it_sounds_at_once_and_is_started_anew() -> None:
    """And is quiet once it listens again, but not before somebody can have heard it."""
    day = well()
    day.dog.ended(day.now, -9)
    day.go_on(2.0)
    assert day.acts == ["sound", "start"]
    assert day.orders[1][0] - 62.0 == pytest.approx(PAUSES[0], abs=0.5)
    day.go_on(LEAST + 2.0, hears=True)
    assert day.acts == ["sound", "start", "quiet"]
    assert day.orders[2][0] - day.orders[0][0] >= LEAST - 0.25


def test_hung_it_sounds_within_ten_seconds_and_is_killed() -> None:
    """No sign of life: neither a crash nor a word; then a new start."""
    day = well()
    day.go_on(12.0)
    assert day.acts[:3] == ["sound", "kill", "start"]
    assert day.orders[0][0] - 62.0 <= SILENT + 0.5 < 10.0


def test_one_that_cannot_hear_and_says_so_is_left_to_its_alarm() -> None:
    """It sounds itself: no second sound, and no kill."""
    day = well()
    day.go_on(600.0, alarms=True)
    assert day.acts == []


def test_a_start_that_comes_to_nothing_is_repeated_ever_later() -> None:
    """The sound goes on; pauses grow to half a minute."""
    day = well()
    for _ in range(8):
        day.dog.ended(day.now, 1)
        day.go_on(31.0)
        while day.acts[-1] != "start":
            day.go_on(0.25)
    assert day.acts.count("sound") == 1
    assert day.acts.count("start") >= 8
    assert day.dog.sounding


def test_a_start_that_hangs_is_killed() -> None:
    """Never a word after its start."""
    day = Day()
    day.go_on(START + 2.0)
    assert day.acts[:3] == ["start", "sound", "kill"]


@pytest.mark.parametrize("code", [0, 2])
def test_ended_by_a_person_or_never_begun_it_is_over(code: int) -> None:
    """Ctrl-C, or bad input at the very start: its exit code, and no sound."""
    day = Day()
    day.go_on(1.0)
    day.dog.ended(day.now, code)
    day.go_on(60.0)
    assert day.acts == ["start", "over"]
    assert day.code == code


def test_a_service_goes_on_trying_and_sounds_when_it_cannot_begin() -> None:
    """Nobody reads its one line: no microphone at start is an alarm after its time to start."""
    day = Day(insists=True)
    day.go_on(1.0)
    while day.now < 1060.0:
        if day.dog._running:
            day.dog.ended(day.now, 2)
        day.go_on(1.0)
    assert "over" not in day.acts
    assert day.acts.count("sound") == 1
    assert next(at for at, act in day.orders if act == "sound") == pytest.approx(START, abs=10.0)


def test_bad_input_after_it_has_listened_is_an_alarm() -> None:
    """The microphone is gone at the new start."""
    day = well()
    day.dog.ended(day.now, -9)
    day.go_on(2.0)
    day.dog.ended(day.now, 2)
    day.go_on(4.0)
    assert day.acts == ["sound", "start", "start"]


def test_an_answer_is_quiet_until_it_was_well_again() -> None:
    """ "I am going": no sound for the same trouble; for the next one there is."""
    day = well()
    day.dog.ended(day.now, -9)
    day.go_on(2.0)
    day.dog.answered()
    day.go_on(40.0)
    assert day.acts.count("sound") == 1
    assert "quiet" in day.acts
    day.go_on(10.0, hears=True)
    day.dog.ended(day.now, -9)
    day.go_on(1.0)
    assert day.acts.count("sound") == 2


def test_stopped_it_ends_with_its_first_process() -> None:
    """Whatever code a process has that is told to stop; also between two starts."""
    day = well()
    day.dog.stop()
    day.go_on(1.0)
    day.dog.ended(day.now, 0)
    day.go_on(1.0)
    assert (day.acts, day.code) == (["over"], 0)
    other = well()
    other.dog.ended(other.now, -9)
    other.dog.stop()
    other.go_on(1.0)
    assert other.acts[-1] == "over"
