"""Sounds of the family's own in place of the wake tone or of the spoken message, as WAV files.

They are read at the start and kept in memory: a disk that goes away in the night silences nothing. A file that is not
there (any more) is told, and the built-in sound takes its place; one that is there and no use is refused.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soxr

from beepwatch.channels.tone import PEAK, Samples
from beepwatch.errors import InputError
from beepwatch.events import Raised
from beepwatch.recognizer import RATE, Recognizer

TONE_SECONDS = (0.5, 30.0)
"""s of a tone: shorter wakes nobody, longer keeps the message waiting (judgement)."""
VOICE_SECONDS = (0.5, 60.0)
"""s of a message (judgement)."""
FAINT = 1e-3
"""Peak of full scale under which a file is taken for silence (-60 dBFS, judgement)."""
TRIED = 150.0
"""s of the tone, again and again, that beepwatch itself is to hear without naming an alarm: five cycles of the
slowest pattern of breaths or bursts (judgement)."""
PAUSE = 2.9
"""s between two of them in that trial: what `rounds.render` leaves after a tone without words."""


@dataclass(frozen=True, slots=True)
class Recording:
    """A sound: float32, shape (n,), peak `PEAK`, and its rate in Hz."""

    samples: Samples
    rate: int

    def at(self, rate: int) -> Samples:
        """Its samples at another rate."""
        if rate == self.rate:
            return self.samples
        return np.asarray(np.clip(soxr.resample(self.samples, self.rate, rate), -1.0, 1.0), np.float32)


@dataclass(frozen=True, slots=True)
class Own:
    """What there is of the family's own."""

    tone: Recording | None = None
    messages: dict[str, Recording] = field(default_factory=dict)
    """By pattern."""
    notes: tuple[str, ...] = ()
    """One line for each file that was asked for and is not there."""


NOTHING = Own()


def load(tone: str, voice: str, patterns: tuple[str, ...]) -> Own:
    """Read what the settings name ("" for none). Raises InputError, one line, for what is there and no use.

    tone: a WAV file. voice: a folder with one WAV file a pattern ("fire.wav"), each optional.
    """
    notes = []
    own_tone = _read(Path(tone).expanduser(), TONE_SECONDS) if tone else None
    if own_tone is not None:
        _refuse_alarm(own_tone, tone)
    elif tone:
        notes.append(f"sound.tone: there is no file {tone}, so the built-in tone sounds")
    messages: dict[str, Recording] = {}
    folder = Path(voice).expanduser()
    if voice and not folder.is_dir():
        notes.append(f"sound.voice: there is no folder {voice}, so the built-in voice speaks")
    for path in sorted(folder.glob("*.wav")) if voice else ():
        if path.stem not in patterns:
            raise InputError(f"{path} is named after no alarm: there are {', '.join(patterns)}")
        made = _read(path, VOICE_SECONDS)
        messages |= {path.stem: made} if made is not None else {}
    return Own(own_tone, messages, tuple(notes))


def _read(path: Path, seconds: tuple[float, float]) -> Recording | None:
    """One file, all channels as one; None where there is none. Raises InputError."""
    import soundfile  # noqa: PLC0415 - only where a family has files of its own

    try:
        samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.LibsndfileError) as error:
        if not path.exists():
            return None
        raise InputError(f"{path} is no sound file ({error}): give a WAV file") from error
    length = len(samples) / rate
    if not seconds[0] <= length <= seconds[1]:
        raise InputError(f"{path} is {length:.1f} s long: give {seconds[0]:g} to {seconds[1]:g} s")
    mono = samples.mean(axis=1)
    peak = float(np.max(np.abs(mono)))
    if not FAINT <= peak < np.inf:
        raise InputError(f"{path} is silent or damaged (peak {peak:g}): record it again, louder")
    return Recording(np.asarray(mono * (PEAK / peak), np.float32), rate)


def _refuse_alarm(tone: Recording, name: str) -> None:
    """Raise InputError for a tone that beepwatch, here or in the next room, would take for an alarm."""
    once = np.concatenate([tone.at(RATE), np.zeros(round(PAUSE * RATE), np.float32)])
    sound = np.tile(once, int(TRIED * RATE / len(once)) + 1)
    sound += np.random.default_rng(1).normal(0.0, 1e-4, len(sound)).astype(np.float32)
    recognizer = Recognizer()
    events = [event for at in range(0, len(sound), RATE) for event in recognizer.push(sound[at : at + RATE])]
    found = [event.alarm.pattern for event in events if isinstance(event, Raised)]
    if found:
        raise InputError(f"sound.tone {name} sounds like an alarm ({found[0]}): choose another sound")
