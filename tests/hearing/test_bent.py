"""Beeps that a null of the room bends: it takes their middle, turns their phase over, or hides where they begin."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from beepwatch.events import Beep
from beepwatch.hearing import Hearing
from beepwatch.hearing.body import Inside
from beepwatch.hearing.character import purity
from beepwatch.hearing.following import Following
from beepwatch.hearing.spectrum import HOP_SECONDS
from beepwatch.hearing.track import Track
from beepwatch.synthesis import Tone
from tests.hearing.rooms import row_in_room
from tests.hearing.scenes import background, beeps, hear, matched

Curve = NDArray[np.inexact[Any]]
N = 200
"""Steps: 0.8 s."""


def _body(curve: Curve) -> Inside:
    """A tone of this complex amplitude, (N,), 20 dB over the noise of a step."""
    rng = np.random.default_rng(5)
    noise = (rng.standard_normal(N) + 1j * rng.standard_normal(N)) / np.sqrt(2)
    return Inside(10 * curve.astype(np.complex128) + noise, np.ones(N))


PLACE = np.linspace(-1, 1, N)


def test_a_tone_that_passes_a_null_lies_on_a_smooth_curve() -> None:
    """Its phase turns over, so it has no mean: half and less of it is a steady tone, yet all of it is one tone."""
    through = _body(PLACE + 0.1j)
    assert purity(through) < 0.5
    assert through.smooth() > 0.95
    bent = _body((PLACE + 0.1j) * np.exp(1j * PLACE**2))
    assert bent.smooth() > 0.95


@pytest.mark.parametrize(
    "curve",
    [
        np.cos(2 * np.pi * 8 * PLACE),
        np.exp(20j * PLACE**2),
        np.repeat(np.random.default_rng(6).choice([-1, 1], 20), N // 20),
    ],
    ids=["two tones 40 Hz apart", "a glide of 32 Hz", "steps"],
)
def test_what_beats_glides_or_leaps_does_not(curve: Curve) -> None:
    """A null is passed once."""
    assert _body(curve).smooth() < 0.6


def test_a_faint_one_is_not_asked() -> None:
    """Noise alone would lie on any curve by chance."""
    assert _body(np.full(N, 0.05)).smooth() == 0.0


def told(seed: int, snr: float, kind: str, null: bool) -> tuple[list[Beep], list[Tone]]:
    """Eight beeps of 1.2 s in a room."""
    samples, tones = row_in_room(seed, 8, 1.2, pause=3.8, snr=snr, kind=kind, null=null)
    return beeps(hear(samples)), tones


@pytest.mark.parametrize(("seed", "kind"), [(24_015, "breathing"), (24_029, "pink"), (24_070, "fan")])
def test_beeps_whose_phase_a_null_turns_over_are_told(seed: int, kind: str) -> None:
    """At 0 dB all of eight but one at most, with their length, in three rooms in which none to four were told once."""
    heard, tones = told(seed, 0.0, kind, null=True)
    pairs = matched(heard, tones)
    assert len(pairs) >= 7
    assert max(abs(beep.duration - 1.2) for beep, _ in pairs) < 0.02
    assert len(heard) == len(pairs)


def test_a_loud_beep_whose_parts_cancel_has_evidence() -> None:
    """In this room its two halves add up to nothing in phase: six of eight and more are told, not three."""
    heard, tones = told(24_116, 0.0, "white", null=True)
    assert len(matched(heard, tones)) >= 6


def test_an_onset_that_a_null_hides_is_found_by_the_first_arrival() -> None:
    """At -14 dB the tone is lost in noise for 0.3 s after its first arrival: all of eight begin with it or a harmonic.

    A harmonic, which builds up in its own way, places one of them 64 ms late; the others are right to 50 ms.
    """
    heard, tones = told(24_058, -14.0, "fan", null=False)
    errors = sorted(abs(beep.onset - tone.onset) for beep, tone in matched(heard, tones))
    assert len(errors) == 8
    assert errors[6] < 0.05
    assert errors[7] < 0.07


@pytest.mark.parametrize(
    ("seed", "kind", "length"),
    [(24_015, "breathing", 10.0), (24_007, "breathing", 20.0), (24_053, "pink", 10.0), (24_053, "pink", 20.0)],
)
def test_a_long_tone_in_a_null_is_not_judged_by_its_loud_ends(seed: int, kind: str, length: float) -> None:
    """Its build-up and its decay are 20 to 35 dB louder: it is flat, pure and alone without them, and is told."""
    samples, _ = row_in_room(seed, 1, length, pause=4.0, snr=0.0, kind=kind, null=True)
    [beep] = [beep for beep in beeps(hear(samples)) if beep.duration > 3]
    assert beep.duration == pytest.approx(length, abs=0.6)
    assert beep.character.flatness < 3
    assert beep.character.purity > 0.95
    assert max(beep.character.before, beep.character.after) < 0.3


def test_a_faint_track_of_noise_is_not_followed_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    """In 10 min of noise none that has ended is older than 26 s: some lasted for 100 s once."""
    ages = []
    closing = Following._free

    def free(self: Following, track: Track) -> None:
        ages.append((track.next - track.start) * HOP_SECONDS)
        closing(self, track)

    monkeypatch.setattr(Following, "_free", free)
    Hearing().push(background(600, 30_003)[None])
    assert len(ages) > 5
    assert max(ages) < 26
