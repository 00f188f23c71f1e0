"""Which sound of an alarm the loop keeps, in its own time."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import soundfile

from beepwatch.events import Ended, Event, Raised
from beepwatch.records.clipping import Clipper, Keeping, Piece
from beepwatch.records.clips import FOLDER
from beepwatch.records.entries import LoggedClip
from beepwatch.records.verify import verify
from tests.watch.hand import BEGAN, Bedroom, alarm

KEEPING = Keeping(30, 100)


def clips_of(folder: Path, script: list[tuple[str, float]], events: list[tuple[float, Event]]) -> list[LoggedClip]:
    """The clips in the history of a room that is heard for so long."""
    bedroom = Bedroom(folder, script, events, clipper=Clipper(folder, KEEPING, lambda: BEGAN))
    summary = bedroom.run()
    assert summary.clean
    with bedroom.history as history:
        return history.clips()


def test_an_alarm_leaves_the_sound_of_its_first_beeps(tmp_path: Path) -> None:
    """From a second before the first beep to 8 s after it was raised, written down with the time of its beginning."""
    (one,) = clips_of(tmp_path, [("sound", 30)], [(9.3, Raised(9.3, alarm()))])
    assert one.clip.began == BEGAN + timedelta(seconds=1.0)
    assert abs(one.clip.seconds - 16.3) < 0.2
    assert soundfile.info(tmp_path / FOLDER / one.clip.file).samplerate == 16_000
    assert verify(tmp_path).faults == ()


def test_one_that_goes_on_leaves_its_last_beeps_too(tmp_path: Path) -> None:
    """The last 15 s before the end of its last beep, as far as they are still remembered."""
    over = replace(alarm(), last=60.0, ended=60.0, beeps=20)
    events: list[tuple[float, Event]] = [(9.3, Raised(9.3, alarm())), (90.0, Ended(90.0, over))]
    first, last = clips_of(tmp_path, [("sound", 100)], events)
    assert last.clip.began == BEGAN + timedelta(seconds=45.0)
    assert abs(last.clip.seconds - 16.0) < 0.2
    assert first.alarm == last.alarm


def test_a_night_that_ends_in_mid_alarm_keeps_what_there_was(tmp_path: Path) -> None:
    """Stopped two seconds after it was raised."""
    (one,) = clips_of(tmp_path, [("sound", 11.5)], [(9.3, Raised(9.3, alarm()))])
    assert 10 < one.clip.seconds < 11


def test_no_sound_is_kept_where_none_is_wanted(tmp_path: Path) -> None:
    """No folder, no file, no row."""
    bedroom = Bedroom(tmp_path, [("sound", 30)], [(9.3, Raised(9.3, alarm()))])
    bedroom.run()
    assert not (tmp_path / FOLDER).exists()
    with bedroom.history as history:
        assert history.clips() == []


def test_a_clip_that_cannot_be_saved_is_told_and_the_night_goes_on(tmp_path: Path) -> None:
    """The alarm is in the history all the same."""
    (tmp_path / FOLDER).write_text("a file where the folder should be")
    bedroom = Bedroom(
        tmp_path, [("sound", 40)], [(9.3, Raised(9.3, alarm()))], clipper=Slow(tmp_path, KEEPING, lambda: BEGAN)
    )
    bedroom.run()
    assert bedroom.heard("a clip could not be saved")
    with bedroom.history as history:
        assert len(history.alarms()) == 1


class Slow(Clipper):
    """Waits for what it is given, as the test's hand turns the clock faster than a disk writes."""

    def put(self, piece: Piece) -> None:
        super().put(piece)
        self._jobs.join()
