"""The words that the stages share: frozen values that pass from hearing to patterns to waking and records.

Times are seconds of stream time, counted from the first sample; no value here knows a clock.
Levels are dBFS with a full-scale sine = 0 (AES17, from memory). SNR is tone power over the noise power
in 0-8 kHz, or as far as the sound goes, in dB.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

Priority: TypeAlias = Literal["high", "medium", "low"]
"""The three priorities of an alarm condition (IEC 60601-1-8, quoted)."""


@dataclass(frozen=True, slots=True)
class Character:
    """What a tone is like, apart from its timing: a buzzer reads near the defaults, a voice does not.

    Each figure already allows for its own error at a low SNR: where noise hides it, it reads as a buzzer's would.
    """

    purity: float = 1.0
    """|mean|^2 / mean |.|^2 of the tone's envelope after its drift is taken out: 1 for a steady tone."""
    flatness: float = 0.0
    """dB between the strongest and the weakest quarter of the beep."""
    wander: float = 0.0
    """Hz, rms step of frequency between quarters of the beep, its straight drift taken out."""
    neighbours: float = 30.0
    """dB of the tone over the strongest line 35-350 Hz away, while it sounds; 30 where noise limits it."""
    company: float = 30.0
    """dB of the tone over the strongest spectral peak that is no simple ratio of it; 30 when there is none."""
    before: float = 0.0
    """Power at the tone's frequency just before the onset over the power of the beep."""
    after: float = 0.0
    """Power at the tone's frequency just after the end over the power of the beep."""
    valley: float = 0.0
    """dB of the deepest dip of 48 ms inside the beep below the lower of its two sides."""
    spread: float = 0.0
    """Relative spread (p10 to p90) of frequency over pieces of 0.5 s; 0 for a beep under 2 s."""
    settled: float | None = None
    """Purity of its middle alone, where the room has settled; None where it is too short to tell."""
    moved: float = 0.0
    """Hz between the highest and the lowest frequency of its smooth drift."""


@dataclass(frozen=True, slots=True)
class Beep:
    """A tone burst that has ended."""

    onset: float
    duration: float
    frequency: float
    level: float
    snr: float
    known: float
    """Stream time at which hearing could first report it."""
    onset_known: bool = True
    """False where the tone was already sounding when listening began (or went on after a gap)."""
    character: Character = Character()

    @property
    def end(self) -> float:
        """Stream time at which the beep ended."""
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class Sounding:
    """A tone burst still under way, told as its length passes a value that was asked for."""

    onset: float
    lasted: float
    frequency: float
    level: float
    snr: float
    known: float
    onset_known: bool = True
    character: Character = Character()


@dataclass(frozen=True, slots=True)
class SteadyTone:
    """A tone that has gone on for over a minute: a hum, not a beep. Told once."""

    onset: float
    frequency: float
    level: float
    known: float


@dataclass(frozen=True, slots=True)
class Noise:
    """How loud the room is, told each 2 s or so: what a beep has to stand out from."""

    at: float
    bands: tuple[tuple[float, float], ...]
    """(upper edge in Hz, noise in dBFS as if its density filled 0-8 kHz) for each band, low to high."""

    def near(self, frequency: float) -> float:
        """dBFS of the noise, as if its density round `frequency` (Hz) filled 0-8 kHz."""
        for edge, level in self.bands:
            if frequency < edge:
                return level
        return self.bands[-1][1]


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm condition as it stands: one value an alarm, however long it lasts."""

    number: int
    """Counts from 1 in each stream; the same alarm keeps its number."""
    pattern: str
    priority: Priority
    onset: float
    """Onset of its first beep."""
    raised: float
    """Stream time at which the live loop raises it."""
    ended: float | None
    """End of its last beep; None while it goes on."""
    last: float
    """End of the last beep so far."""
    beeps: int
    duration: float
    """Median length of its beeps, s."""
    period: float | None
    """Median time from onset to onset, s; None for one beep."""
    frequency: float
    confidence: float
    """Probability, 0-1, that this alarm is what it is named."""
    why: str
    """One plain sentence of evidence."""


@dataclass(frozen=True, slots=True)
class Raised:
    """An alarm condition began to be believed at stream time `at`."""

    at: float
    alarm: Alarm


@dataclass(frozen=True, slots=True)
class Changed:
    """An open alarm has a new beep, a better figure or another name (`was` holds the old pattern)."""

    at: float
    alarm: Alarm
    was: str | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """An alarm is over: its beeps stopped (or another alarm took its place) and would have been heard."""

    at: float
    alarm: Alarm


@dataclass(frozen=True, slots=True)
class OwnSound:
    """Our own wake sound, as far as listening has to know it."""

    tone: float
    """Hz of its tone; harmonics come with it."""
    pulse: float
    """s of each of its pulses."""


Heard: TypeAlias = Beep | Sounding | SteadyTone | Noise
"""What hearing says."""
AlarmEvent: TypeAlias = Raised | Changed | Ended
"""What patterns say."""
Event: TypeAlias = Heard | AlarmEvent
"""What the recogniser says."""
