"""The hearing margin of each minute on its way into the history."""

from pathlib import Path

from beepwatch.events import Event, Noise
from beepwatch.hearing.margin import FAINTEST_SNR
from beepwatch.watch.minutes import Minutes
from tests.watch.hand import Bedroom


class Kept:
    """What was written."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, float | None]] = []

    def margin(self, at: float, margin: float | None) -> None:
        self.rows.append((at, margin))


def noise(at: float, level: float) -> Noise:
    return Noise(at, ((8000.0, level),))


def test_each_minute_is_the_median_of_its_figures() -> None:
    """A cough of 2 s moves it by nothing; the minute under way is written at the end."""
    kept, minutes = Kept(), Minutes((2730.0, -40.0))
    for second in range(0, 90, 2):
        minutes.noise(noise(float(second), -10.0 if second == 30 else -60.0), kept)
    minutes.write(kept)
    assert kept.rows == [(0.0, 20.0 - FAINTEST_SNR), (60.0, 20.0 - FAINTEST_SNR)]
    minutes.write(kept)
    assert len(kept.rows) == 2


def test_untaught_the_margin_is_unknown_and_that_is_written() -> None:
    """Never a number; taught meanwhile, it is known from the next minute on."""
    kept, minutes = Kept(), Minutes(None)
    minutes.noise(noise(0.0, -60.0), kept)
    minutes.noise(noise(60.0, -60.0), kept)
    minutes.expect((2730.0, -40.0))
    minutes.noise(noise(62.0, -60.0), kept)
    minutes.write(kept)
    assert kept.rows == [(0.0, None), (60.0, 20.0 - FAINTEST_SNR)]


def test_the_loop_writes_a_minute_after_the_other(tmp_path: Path) -> None:
    """Into the history, by the wall clock of the stream."""
    events: list[tuple[float, Event]] = [(float(at), noise(float(at), -60.0)) for at in range(2, 130, 2)]
    bedroom = Bedroom(tmp_path, [("sound", 140)], events, minutes=Minutes((2730.0, -40.0)))
    bedroom.run()
    with bedroom.history as history:
        (hour,) = history.margins()
    assert hour.figures == (39.0, 39.0, 39.0)
