"""What the speaker repeats: a round is the wake tone, then the spoken lines. Pure but for the voice."""

from dataclasses import dataclass

import numpy as np

from beepwatch.channels.tone import END, PULSES, REST, RISE, SOFT, Samples, silence, wake_tone
from beepwatch.channels.voice import Voice
from beepwatch.events import Priority

PAUSE = 0.35
"""s between two spoken lines."""
REMINDER = 2
"""Pulses of a reminder's tone (judgement: short)."""
ALONE = 2.0
"""s of silence after a tone without speech, besides `REST` and `END`: so its rows do not join into one."""


@dataclass(frozen=True, slots=True)
class Round:
    """What to sound again and again."""

    numbers: tuple[int, ...]
    """The alarms it tells of."""
    priority: Priority
    lines: tuple[str, ...] = ()
    pattern: str = ""
    """The one alarm that it tells of, where it is one: a family's own words may take the place of `lines`."""
    opening: int = 0
    """How many of `lines` come before the message itself: names, "this is a drill", what is special."""
    once: bool = False
    """A reminder: played once, with a short tone."""


def render(round_: Round, voice: Voice | None, rate: int, turn: int = 0) -> tuple[Samples, bool]:
    """One round as float32 samples (n,); False with it where a line was not spoken yet. Never waits.

    turn: how often it was played before; the tone's length changes from turn to turn.
    """
    spoken = _spoken(round_, voice, rate)
    parts: list[Samples] = [_tone(round_, voice, rate, turn), silence(REST, rate)]
    for samples in spoken:
        if samples is not None:
            parts += [samples, silence(PAUSE, rate)]
    if len(parts) == 2:
        parts.append(silence(ALONE, rate))
    parts.append(silence(END, rate))
    return np.concatenate(parts), voice is None or all(samples is not None for samples in spoken)


def _tone(round_: Round, voice: Voice | None, rate: int, turn: int) -> Samples:
    own = None if voice is None else voice.own.tone
    if own is not None and not round_.once:
        return own.at(rate)
    return wake_tone(rate, REMINDER if round_.once else PULSES[turn % len(PULSES)])


def _spoken(round_: Round, voice: Voice | None, rate: int) -> list[Samples | None]:
    """Each line's speech, None while not ready; a message of the family's own in place of what follows the opening."""
    if voice is None:
        return []
    own = voice.own.messages.get(round_.pattern)
    if own is None:
        return [voice.speech(line, rate) for line in round_.lines]
    return [*(voice.speech(line, rate) for line in round_.lines[: round_.opening]), own.at(rate)]


class Track:
    """A round on its way: `fill` is called by the sound system's thread, the rest by the speaker's.

    Each attribute is written by one thread only.
    """

    def __init__(self, samples: Samples, rate: int, rise: float, once: bool = False):
        """Begin with `samples` (n > 0), from the start; `rise` s until full level; `once`: then silence."""
        self.samples = samples
        """What is played from the next beginning on; may be replaced at any time."""
        self.turn = 0
        """How often it has begun again."""
        self.begun = False
        """Has a first block been handed out?"""
        self.over = False
        """Was it to be played once, and has been?"""
        self._once = once
        self._now = samples
        self._position = 0
        self._gone = 0
        self._slope = 0.0 if rise <= 0 else 1.0 / (rise * rate)

    def fill(self, out: Samples) -> None:
        """Fill `out`, shape (frames, channels), with what comes next, for ever."""
        if self.over:
            out.fill(0.0)
            return
        done = 0
        while done < len(out):
            part = self._now[self._position : self._position + len(out) - done]
            out[done : done + len(part)] = part[:, np.newaxis]
            done += len(part)
            self._position += len(part)
            if self._position >= len(self._now):
                self.over = self._once
                if self.over:
                    out[done:] = 0.0
                    break
                self._now, self._position = self.samples, 0
                self.turn += 1
        if self._slope:
            out *= self._level(len(out))[:, np.newaxis]
        self._gone += len(out)
        self.begun = True

    def _level(self, frames: int) -> Samples:
        """Amplitudes of the rise: from `SOFT` to 1, even in dB."""
        share = np.minimum((self._gone + np.arange(frames)) * self._slope, 1.0)
        return np.asarray(SOFT ** (1.0 - share), np.float32)


def track_of(round_: Round, samples: Samples, rate: int) -> Track:
    """The track for a round that was rendered as `samples`."""
    return Track(samples, rate, 0.0 if round_.once else RISE[round_.priority], round_.once)
