"""Margins: unknown until taught and matched, right against the rooms' own figures, kept and drawn."""

import stat
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from beepwatch.bedroom import plan
from beepwatch.bedroom.places import FIELD, Margin, Match, Measured, Taught, margin, match, measure
from beepwatch.bedroom.results import Beside, Kept, Place, for_microphone, load, put_place, save
from beepwatch.bedroom.sounds import beeps
from beepwatch.errors import InputError
from beepwatch.hearing.margin import margin_db

RATE = 16_000
TONE = 2730.0
AT = datetime(2026, 1, 2, 3, 4, tzinfo=UTC)
CLEAR = Measured(5, -40.0, 2.0, -60.0)


def phone(level: float, seed: int = 1) -> np.ndarray[tuple[int, int], np.dtype[np.float32]]:
    """Five beeps of -10 dBFS turned down by `level` dB in white noise of -50 dBFS, one channel."""
    sound = beeps(TONE, RATE).astype(np.float64) * 10 ** (level / 20)
    noise = np.random.default_rng(seed).standard_normal(len(sound)) * 10 ** (-53.01 / 20)
    return (sound + noise).astype(np.float32)[:, None]


@pytest.mark.parametrize("level", [0.0, -20.0, -40.0])
def test_level_and_noise_are_measured_at_three_distances(level: float) -> None:
    """All five beeps, their level to 0.5 dB, the noise to 1 dB."""
    told = measure(phone(level), RATE, TONE)
    assert told is not None
    assert told.count == 5
    assert told.level == pytest.approx(level - 10, abs=0.5)
    assert told.noise == pytest.approx(-50, abs=1)


def test_no_beep_gives_nothing() -> None:
    """Noise alone, and beeps of another tone."""
    assert measure(phone(-90.0), RATE, TONE) is None
    assert measure(phone(0.0), RATE, 2900.0) is None


def test_the_margin_is_that_of_the_device_not_of_the_phone() -> None:
    """Device 10 dB louder than the phone: 10 dB more to spare than the phone has."""
    matched = match(CLEAR, Taught(TONE, -30.0))
    there = Measured(5, -55.0, 2.0, -60.0)
    told = margin(there, matched)
    assert matched.offset == pytest.approx(10)
    assert told.spare == pytest.approx(margin_db(-45.0, -60.0))


def test_the_error_grows_where_the_phone_lay_still() -> None:
    """Moved: sd over root of five. Still: one spot stands for the place, 5.6 dB (diffuse field, theory)."""
    still = Measured(5, -40.0, 0.1, -60.0)
    assert CLEAR.error == pytest.approx(2 / 5**0.5)
    assert still.error == FIELD
    assert margin(still, Match(0.0, 1.0)).error > margin(CLEAR, Match(0.0, 1.0)).error > FIELD


@pytest.mark.parametrize(
    ("spare", "words"),
    [
        (23.4, "23 dB to spare"), (12.0, "12 dB, little to spare"), (3.0, "3 dB, move the microphone"),
        (-4.0, "4 dB too faint, move the microphone"),
    ],
)  # fmt: skip
def test_a_margin_in_words(spare: float, words: str) -> None:
    """Enough, little, too little, none."""
    assert plan.margin_words(Place("bed", AT, CLEAR, Margin(spare, 6.0))) == words


def test_untaught_reads_unknown_and_never_a_number() -> None:
    """No match: unknown. No beep heard: not heard. Neither holds a digit."""
    for place in (Place("bed", AT, CLEAR, None), Place("bed", AT, None, None)):
        words = plan.place_line(place)
        assert not any(letter.isdigit() for letter in words), words
    assert plan.margin_words(Place("bed", AT, CLEAR, None)) == "unknown"


def test_the_plan_has_the_door_between_room_and_hallway() -> None:
    """The microphone and the bed above the wall, the hallway below it; longer bars for more to spare."""
    near, far = Place("bed", AT, CLEAR, Margin(24.0, 6.0)), Place("hallway, door shut", AT, CLEAR, Margin(3.0, 6.0))
    lines = plan.drawn((far, near))
    text = "\n".join(lines)
    assert text.index("(M)") < text.index("Bed") < text.index(" door -") < text.index("Hallway")
    assert "=" * 12 in text
    assert len({len(line) for line in lines[:3]}) == 1


def test_results_are_kept_whole_dated_and_private(tmp_path: Path) -> None:
    """What is written is read again; a place measured anew takes the old one's seat; another microphone starts anew."""
    kept = Kept(microphone="USB", tone=TONE, beside=Beside(AT, CLEAR, Match(10.0, 1.0)))
    for name, spare in (("bed", 20.0), ("door", 3.0), ("bed", 15.0)):
        kept = put_place(kept, Place(name, AT, CLEAR, Margin(spare, 6.0)))
    path = save(tmp_path, kept)
    assert load(tmp_path) == kept
    assert [(place.name, place.margin and place.margin.spare) for place in kept.places] == [
        ("bed", 15.0),
        ("door", 3.0),
    ]
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert '"2026-01-02T03:04:00Z"' in path.read_text()
    assert for_microphone(kept, "USB") is kept
    assert for_microphone(kept, "other") == Kept(microphone="other")


@pytest.mark.parametrize("text", ["", "{", '{"version": 9}', '{"places": [1]}'])
def test_a_broken_result_is_told_in_one_line(tmp_path: Path, text: str) -> None:
    """InputError with what to do."""
    (tmp_path / "check.json").write_text(text)
    with pytest.raises(InputError, match="move it away"):
        load(tmp_path)
