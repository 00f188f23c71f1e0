"""Microphones with a will of their own: each spoils sound as real software or a real fault does.

The processing is that of the WebRTC, RNNoise and Speex libraries as Python packages carry them, and of soxr. Every
function takes and gives one channel at 16 kHz, float32, shape (n,).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
RATE = 16_000
FRAME = 160
"""10 ms, as all of these take it."""


@dataclass(frozen=True)
class Impairment:
    """One of them, and what a check may call it."""

    name: str
    family: str
    spoil: Callable[[Samples], Samples]
    kinds: frozenset[str]


def _by_bytes(sound: Samples, step: Callable[[bytes], bytes]) -> Samples:
    """Through a processor of 16-bit frames of 10 ms."""
    whole = np.clip(np.round(sound * 32767), -32768, 32767).astype("<i2")
    frames = [step(whole[i : i + FRAME].tobytes()) for i in range(0, len(whole) - FRAME + 1, FRAME)]
    return (np.frombuffer(b"".join(frames), "<i2") / 32768).astype(np.float32)


def webrtc_suppressor(level: int) -> Callable[[Samples], Samples]:
    """WebRTC's noise suppressor; level 0-3 is 6, 12, 18, 21 dB."""

    def spoil(sound: Samples) -> Samples:
        from pywebrtc_audio import NoiseSuppressor  # noqa: PLC0415

        return np.asarray(NoiseSuppressor(RATE, 1, level).process(sound), dtype=np.float32)

    return spoil


def webrtc_older(gain: int, suppression: int) -> Callable[[Samples], Samples]:
    """An older WebRTC: digital automatic gain to -`gain` dBFS (0: off), suppression 0-4."""

    def spoil(sound: Samples) -> Samples:
        from webrtc_noise_gain import AudioProcessor  # noqa: PLC0415

        processor = AudioProcessor(gain, suppression)
        return _by_bytes(sound, lambda frame: bytes(processor.Process10ms(frame).audio))

    return spoil


def webrtc_gain(sound: Samples) -> Samples:
    """WebRTC's second automatic gain, as it comes."""
    from pywebrtc_audio import GainController  # noqa: PLC0415

    return np.asarray(GainController(RATE, 1).process(sound), dtype=np.float32)


def webrtc_echo(played: Samples) -> Callable[[Samples], Samples]:
    """WebRTC's echo canceller, which knows what this computer played."""

    def spoil(sound: Samples) -> Samples:
        from pywebrtc_audio import EchoCanceller  # noqa: PLC0415

        return np.asarray(EchoCanceller(RATE, 1).process(sound, played[: len(sound)]), dtype=np.float32)

    return spoil


def rnnoise(sound: Samples) -> Samples:
    """RNNoise, which works at 48 kHz."""
    import soxr  # noqa: PLC0415
    from pyrnnoise import rnnoise as library  # noqa: PLC0415

    wide = soxr.resample(sound, RATE, 48_000)
    state = library.create()
    size = library.FRAME_SIZE
    frames = [library.process_mono_frame(state, wide[i : i + size])[0] for i in range(0, len(wide) - size + 1, size)]
    library.destroy(state)
    return np.asarray(soxr.resample(np.concatenate(frames).astype(np.float32) / 32768, 48_000, RATE), np.float32)


def speex(sound: Samples) -> Samples:
    """Speex's suppressor at 30 dB."""
    from pyspeex_noise import AudioProcessor  # noqa: PLC0415

    processor = AudioProcessor(0, -30)
    return _by_bytes(sound, lambda frame: bytes(processor.process_10ms(frame)))


def _gated(sound: Samples, opens: Callable[[Samples], bool], hold: int) -> Samples:
    """Zeros but for the frames in which it opens, and `hold` frames after."""
    out, left = np.zeros_like(sound), 0
    for i in range(0, len(sound) - FRAME + 1, FRAME):
        left = hold if opens(sound[i : i + FRAME]) else left - 1
        if left > 0:
            out[i : i + FRAME] = sound[i : i + FRAME]
    return out


def voice_gate(sound: Samples) -> Samples:
    """A baby monitor that sends only what WebRTC's detector takes for a voice."""
    from webrtcvad import Vad  # noqa: PLC0415

    detector = Vad(1)
    return _gated(
        sound, lambda part: bool(detector.is_speech((np.clip(part, -1, 1) * 32767).astype("<i2").tobytes(), RATE)), 30
    )


def level_gate(sound: Samples) -> Samples:
    """One that sends only what is 8 dB louder than the room."""
    quiet = float(np.median([np.std(sound[i : i + FRAME]) for i in range(0, 2 * RATE, FRAME)]))
    return _gated(sound, lambda part: float(np.std(part)) > 2.5 * quiet, 50)


def sleeper(sound: Samples) -> Samples:
    """A Bluetooth source that sleeps in the quiet and takes 1.5 s to wake."""
    loud = 0.3 * float(np.quantile([np.std(sound[i : i + FRAME]) for i in range(0, len(sound) - FRAME, FRAME)], 0.9))
    awake = _gated(sound, lambda part: float(np.std(part)) > loud, 100)
    first = int(np.flatnonzero(awake)[0])
    awake[first : first + round(1.5 * RATE)] = 0
    return awake


def wrong_rate(taken: int, true: int) -> Callable[[Samples], Samples]:
    """Sound of `true` Hz taken for `taken` Hz."""

    def spoil(sound: Samples) -> Samples:
        import soxr  # noqa: PLC0415

        return np.asarray(soxr.resample(sound, taken, true), np.float32)

    return spoil


def telephone(sound: Samples) -> Samples:
    """A link of 8 kHz, as a Bluetooth headset's microphone has it."""
    import soxr  # noqa: PLC0415

    return np.asarray(soxr.resample(soxr.resample(sound, RATE, 8000), 8000, RATE), np.float32)


def radio(sound: Samples) -> Samples:
    """A radio that loses 30 ms now and then: holes of digital silence, 40 a minute."""
    out, rng = sound.copy(), np.random.default_rng(5)
    for first in rng.integers(0, len(sound) - 500, round(len(sound) / RATE * 40 / 60)):
        out[first : first + 480] = 0
    return out


def skipping(sound: Samples) -> Samples:
    """A machine too busy to fetch all blocks: 5-50 ms are skipped, 40 a minute, with no hole."""
    rng = np.random.default_rng(6)
    keep = np.ones(len(sound), dtype=np.bool_)
    for first in rng.integers(0, len(sound) - 1000, round(len(sound) / RATE * 40 / 60)):
        keep[first : first + int(rng.integers(80, 800))] = False
    return np.asarray(sound[keep], dtype=np.float32)


def too_loud(sound: Samples) -> Samples:
    """An input turned up until peaks are cut, in 16 bits."""
    loud = sound / np.max(np.abs(sound)) * 3
    return np.asarray(np.clip(np.round(loud * 32767), -32768, 32767) / 32768, dtype=np.float32)


def muted(sound: Samples) -> Samples:
    """A mute switch: the last bit of 16 flickers."""
    rng = np.random.default_rng(7)
    return np.asarray(rng.integers(0, 2, len(sound)) / 32768, dtype=np.float32)


def whining(hertz: float) -> Callable[[Samples], Samples]:
    """A charger beside the microphone: a steady line 8 dB under the noise of the whole band."""

    def spoil(sound: Samples) -> Samples:
        level = 0.4 * float(np.std(sound[: 2 * RATE]))
        wave = level * np.sqrt(2) * np.sin(2 * np.pi * hertz * np.arange(len(sound)) / RATE)
        return np.asarray(sound + wave, dtype=np.float32)

    return spoil


def during_tone(tone: float, played: Samples) -> list[Impairment]:
    """Those that the steady tone shows."""
    gates = frozenset({"gated", "sleeps"})
    faded = frozenset({"fades", "muted", "not-heard"})
    return [
        *(Impairment(f"WebRTC suppressor {n}", "noise suppression", webrtc_suppressor(n), faded) for n in range(4)),
        *(Impairment(f"older WebRTC {n}", "noise suppression", webrtc_older(0, n), faded) for n in (1, 2, 4)),
        Impairment("RNNoise", "noise suppression", rnnoise, faded),
        Impairment("Speex suppressor", "noise suppression", speex, faded),
        Impairment("older WebRTC, gain", "automatic gain", webrtc_older(3, 0), frozenset({"gain", "clipping"})),
        Impairment("WebRTC gain 2", "automatic gain", webrtc_gain, frozenset({"gain", "clipping"})),
        Impairment("gain + suppressor", "automatic gain", webrtc_older(15, 2), faded | {"gain"}),
        Impairment("WebRTC echo canceller", "echo cancelling", webrtc_echo(played), faded),
        Impairment("voice gate (WebRTC)", "gating", voice_gate, gates),
        Impairment("level gate", "gating", level_gate, gates),
        Impairment("sleeping Bluetooth", "sleep", sleeper, frozenset({"sleeps"})),
        Impairment("44.1 taken for 48 kHz", "wrong rate", wrong_rate(48_000, 44_100), frozenset({"wrong-rate"})),
        Impairment("48 taken for 44.1 kHz", "wrong rate", wrong_rate(44_100, 48_000), frozenset({"wrong-rate"})),
        Impairment("radio holes", "drop-outs", radio, frozenset({"drop-outs"})),
        Impairment("skipped blocks", "drop-outs", skipping, frozenset({"lost", "drop-outs"})),
        Impairment("too loud", "clipping", too_loud, frozenset({"clipping"})),
        Impairment("mute switch", "muted", muted, frozenset({"muted"})),
    ]


def in_quiet(tone: float) -> list[Impairment]:
    """Those that a quiet room shows."""
    return [
        Impairment("8 kHz link", "resampling", telephone, frozenset({"narrow"})),
        Impairment("whine, 1 % off", "whine", whining(1.01 * tone), frozenset({"whine"})),
        Impairment("radio holes, quiet", "drop-outs", radio, frozenset({"drop-outs"})),
        Impairment("mute switch, quiet", "muted", muted, frozenset({"muted"})),
    ]
