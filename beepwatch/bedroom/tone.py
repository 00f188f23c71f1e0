"""From what became of the test tone to what is wrong with the microphone. Pure."""

import numpy as np
from numpy.typing import NDArray

from beepwatch.bedroom.findings import Finding, finding
from beepwatch.bedroom.hold import STEP, STRONG, Hold, hold
from beepwatch.bedroom.raw import MUTED_DBFS, raw_findings, silent_stretches

Samples = NDArray[np.float32]
FADE = 3.0
"""dB: the mildest suppressor tried takes 6, a plain microphone under 0.5 (measured)."""
GAIN = 4.0
"""dB by which step or noise may differ before it is called automatic gain (judgement)."""
UNEVEN = 1.5
"""dB by which the step may differ from the one that was played (a plain microphone: under 0.5, measured)."""
GATE = 12.0
"""dB by which the noise comes up with the tone where a gate opens (judgement)."""
LATE = 0.4
"""s of the tone that a device which wakes up loses at least (judgement)."""
SPEED = 0.3
"""% by which a tone may be off: crystals keep to 0.01 % (judgement)."""
WEAKEST = 15.0
"""dB that the test tone has to stand over the noise to be judged."""


def tone_findings(samples: Samples, rate: int, expected: float) -> list[Finding]:
    """What is wrong with a recording of the whole test sound, shape (n, channels); expected: Hz of its tone.

    The channel in which the tone is strongest is judged.
    """
    raw = [each for each in raw_findings(samples, rate) if each.weight == "fault"]
    if any(each.kind == "muted" for each in raw):
        return raw
    holds = [each for each in (hold(channel, rate, expected) for channel in samples.T) if each is not None]
    best = max(holds, key=lambda each: each.level, default=None)
    if best is None or best.level < MUTED_DBFS:
        return [*raw, finding("not-heard", 0.0)]
    silence = silent_stretches(samples[:, 0], rate, 0.5)
    return _told_once([*raw, *judged(best, expected, bool(silence))], bool(silence))


def _told_once(found: list[Finding], silence: bool) -> list[Finding]:
    """Each kind once, and no consequence beside its cause.

    A filter or a gate leaves holes, and cut peaks shrink the step.
    """
    kinds = {each.kind for each in found}
    aside = {"gain"} if "clipping" in kinds else set()
    if silence or kinds & {"fades", "gated", "sleeps"}:
        aside |= {"drop-outs", "lost"}
    first = {each.kind: each for each in reversed(found)}
    return [each for each in found if each is first[each.kind] and each.kind not in aside]


def judged(tone: Hold, expected: float, silence: bool) -> list[Finding]:
    """What the figures of a tone say; silence: part of the recording was digital silence."""
    found: list[Finding] = []
    off = 100 * (tone.frequency / expected - 1)
    if abs(off) > SPEED:
        found.append(finding("wrong-rate", off))
    if tone.snr < WEAKEST:
        return [*found, finding("not-heard", tone.snr)]
    rise = tone.during - tone.quiet
    gated = silence or rise > GATE
    if tone.late > LATE and gated:
        found.append(finding("sleeps", tone.late))
    elif gated:
        found.append(finding("gated", min(rise, 99.0) if np.isfinite(rise) else 99.0))
    pumped = 0.0 if gated else _pumped(tone)
    if pumped > 0:
        found.append(finding("gain", pumped))
    elif tone.fade > FADE and not gated:
        found.append(finding("fades", tone.fade))
    return [*found, *_broken(tone)]


def echo_finding(own: Hold, phone: Hold) -> Finding | None:
    """A tone that holds when a phone plays it, but sinks when this computer does, is taken for an echo."""
    cut = own.fade - phone.fade
    return finding("echo", cut) if own.fade > FADE and phone.fade <= FADE else None


def _pumped(tone: Hold) -> float:
    """dB by which the gain changes, the largest of its signs; 0 where none stands out.

    A suppressor leaves the noise as it is; a gain that adapts takes it along.
    """
    signs = [tone.after - tone.quiet, tone.quiet - tone.during, tone.quiet - tone.after]
    sizes = [float(np.nan_to_num(each)) for each in signs]
    if tone.fade < FADE and tone.step is not None and abs(STEP - tone.step) > UNEVEN:
        return max(*sizes, -tone.fade, abs(STEP - tone.step))
    largest = max(*sizes, -tone.fade)
    return largest if largest > GAIN else 0.0


def _broken(tone: Hold) -> list[Finding]:
    found = []
    if tone.holes >= 2:
        found.append(finding("drop-outs", tone.holes * 60 / STRONG))
    if tone.jumps >= 2 and tone.holes < 2:
        found.append(finding("lost", tone.jumps * 60 / STRONG))
    return found
