"""What sounds beside a burst."""

from beepwatch.hearing.burst import Burst
from beepwatch.hearing.drift import Drift
from beepwatch.hearing.rows import Rows
from beepwatch.hearing.surroundings import NONE_DB, surroundings


def test_a_long_tone_whose_frames_are_kept_no_more_has_no_surroundings() -> None:
    """It ended 25 s ago, and frames are kept for 20 s: nothing is said, and nothing fails."""
    burst = Burst(0.0, 4000.0, Drift((0.0,), 0.0, 0.0, 4000.0), 1000.0, 20)
    assert surroundings(Rows(1), burst, 2700.0, round(41 / 0.064)) == (NONE_DB, NONE_DB, False)
