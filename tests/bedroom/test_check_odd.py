"""Odd sound: too short, constant, all lost, one endless tone. Findings or none, but never an error."""

import numpy as np
import numpy.typing as npt
import pytest

from beepwatch.bedroom.check import room_check
from beepwatch.bedroom.decay import room_decay
from beepwatch.bedroom.places import measure
from beepwatch.bedroom.tone import tone_findings

RATE = 16_000
RNG = np.random.default_rng(4)
Floats = npt.NDArray[np.float64]
SINE = np.sin(2 * np.pi * 2730 * np.arange(22 * RATE) / RATE)
ODD: dict[str, Floats] = {
    "one sample": np.array([0.5]),
    "ten samples": RNG.standard_normal(10),
    "silence": np.zeros(5 * RATE),
    "constant": np.full(5 * RATE, 0.25),
    "all lost": np.full(5 * RATE, np.nan),
    "one click": np.eye(1, 5 * RATE, 100)[0],
    "endless tone": 0.5 * SINE,
    "square": np.sign(SINE),
    "short tone": SINE * (np.arange(22 * RATE) < 6 * RATE) * (np.arange(22 * RATE) > 5.7 * RATE),
    "tone at the end": SINE * (np.arange(22 * RATE) > 21.9 * RATE),
    "noise at full scale": np.clip(RNG.standard_normal(5 * RATE), -1, 1),
}


@pytest.mark.parametrize(("rate", "channels"), [(8_000, 1), (44_100, 2)])
@pytest.mark.parametrize("name", ODD)
def test_odd_sound_never_raises(name: str, rate: int, channels: int) -> None:
    """Every step takes it; each finding has a finite figure."""
    sound = np.repeat(ODD[name].astype(np.float32)[:, None], channels, axis=1)
    found = [*room_check(sound, rate, 2730.0).findings, *room_check(sound, rate, None).findings]
    found += tone_findings(sound, rate, 2730.0)
    assert all(np.isfinite(each.figure) for each in found)
    assert all(each.seconds > 0 for each in room_decay(sound[:, 0], rate).values())
    told = measure(sound, rate, 2730.0)
    assert told is None or np.isfinite(told.noise)


@pytest.mark.parametrize("name", ["silence", "constant", "all lost"])
def test_what_holds_no_sound_is_muted(name: str) -> None:
    """By the quiet and by the tone."""
    sound = ODD[name].astype(np.float32)[:, None]
    assert [each.kind for each in room_check(sound, RATE, None).findings] == ["muted"]
    assert [each.kind for each in tone_findings(sound, RATE, 2730.0)] == ["muted"]
