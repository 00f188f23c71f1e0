"""The `why` of an alarm: one plain sentence of what was heard."""

from collections.abc import Sequence


def tone(frequency: float) -> str:
    """A tone as a nurse would read it: `2.73 kHz`, `520 Hz`."""
    return f"{frequency / 1000:.2f} kHz" if frequency >= 1000 else f"{frequency:.0f} Hz"


def heard_at(tones: Sequence[float]) -> str:
    """Tones in Hz, lowest first: `all at 2.73 kHz`, or `at 550 Hz and 1.10 kHz, harmonics of one sounder`."""
    if len(tones) == 1:
        return f"all at {tone(tones[0])}"
    return f"at {', '.join(tone(one) for one in tones[:-1])} and {tone(tones[-1])}, harmonics of one sounder"


def seconds(value: float) -> str:
    """A length or a period: `0.50 s`, `1.2 s`, `20 s`, `60 min`."""
    if value >= 600:
        return f"{value / 60:.0f} min"
    if value < 0.95:
        return f"{value:.2f} s"
    return f"{value:.1f} s" if value < 30 else f"{value:.0f} s"


def repeated(beeps: int, duration: float, period: float | None, tones: Sequence[float], rate: bool = False) -> str:
    """Single beeps: `7 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz`."""
    if beeps == 1 or period is None:
        return f"1 beep of {seconds(duration)} at {tone(tones[0])}"
    pace = f" ({60 / period:.0f} a minute)" if rate else ""
    return f"{beeps} beeps of {seconds(duration)}, one every {seconds(period)}{pace}, {heard_at(tones)}"


def grouped(groups: int, pulses: int, duration: float, period: float | None, tones: Sequence[float]) -> str:
    """Counted pulses: `3 groups of 4 pulses of 0.10 s, one group every 5.7 s, all at 3.10 kHz`."""
    every = "" if period is None else f", one group every {seconds(period)}"
    return f"{groups} groups of {pulses} pulses of {seconds(duration)}{every}, {heard_at(tones)}"


def lasting(lasted: float, frequency: float) -> str:
    """A known tone that still sounds: `A tone at 2.73 kHz, the known one, has lasted 13 s: ...`."""
    return f"A tone at {tone(frequency)}, the known one, has lasted {lasted:.0f} s: too long for a 10 s beep"


def too_long(lasted: float, frequency: float) -> str:
    """A tone that lost its name."""
    return f"a tone at {tone(frequency)} goes on past {lasted:.0f} s: no battery alarm, an unknown sound"


LOUD = "the room is too loud to hear whether it goes on"
"""Said of an open alarm that cannot be heard either way."""


def superseded(name: str) -> str:
    """Why an alarm was closed by another."""
    return f"{name} took its place"
