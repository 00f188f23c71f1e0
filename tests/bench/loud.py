"""Listening on under our own wake sound: what of the device is still followed, and whether our own is taken for it.

`python -m tests.bench.loud [--quick] [--out FOLDER]` prints the figures and writes `loud.json`. Simulated paths: our
sound and the device's each through a room of their own (T60 0.3-0.6 s), their levels set at the microphone.
"""

import argparse
import json
import shutil
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from beepwatch.channels.rounds import Round, render
from beepwatch.channels.tone import FREQUENCY, OWN_SOUND
from beepwatch.channels.voice import Voice
from beepwatch.events import AlarmEvent, Beep, Changed, Ended, Event, Raised
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.synthesis import Tone, response
from beepwatch.waking.messages import Messages
from tests.channels.test_own_sound import SECONDS, night

FOLDER = Path(__file__).parent / "results"
Doubles = NDArray[np.float64]
RMS = 10 ** (-40 / 20)
"""Of the device's beep at the microphone."""
SNR = 15.0
"""dB of the device's beep over the room's noise in 0-8 kHz."""
BREATH = (1.2, 4.0)
"""s: a breath's beep, and from one to the next."""
BATTERY = (20.0, 60.0)
"""s: the last battery's tone, and from one to the next."""
FIRST, OWN, LAST = 4.0, 20.0, 150.0
"""s: the device begins, our own sound begins, the device falls silent (its beeps are whole)."""
OWN_CASES = ((None, 0.7, None), ("lead-disconnect", 0.4, None), ("lead-disconnect", 0.7, 2600.0), ("fire", 0.4, 2600.0))
"""Of our own sound alone: message, T60 in s, known tone in Hz (on our fifth harmonic), a quarter of an hour each."""
TAIL = 80.0
"""s that are listened to after that, our own sound going on."""


@dataclass(frozen=True, slots=True)
class Case:
    """One scene: who sounds how."""

    pattern: str
    tone: float
    """Hz of the device."""
    over: float
    """dB of our wake tone over the device's beep at the microphone."""
    under: bool
    """The device begins while our own sound goes on already; else it is raised before."""
    taught: bool
    seed: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it."""

    beeps: int
    """Of the device under our own sound."""
    found: int
    raised: float | None
    """s from the device's first beep."""
    early: int
    """Times that an end was told while it beeped."""
    latest: float
    """s before the device fell silent of the last beep that was counted."""
    ended: float | None
    """s from its last beep's end to `ended`."""
    other: tuple[str, ...]
    """Alarms of any other name or tone."""


def own_sound(seconds: float, pattern: str, turn: int = 0) -> Doubles:
    """Our own sound, as it is sent to the speaker: round after round."""
    voice = Voice(lambda failed: None)
    lines = Messages("Anna", "Sam").lines(pattern) if shutil.which("espeak-ng") else ()
    voice.prepare(lines)
    voice.wait(20)
    sound, parts = 0, list[Doubles]()
    while sound < seconds * RATE:
        part, _ = render(Round((1,), "high", lines), voice, RATE, turn + len(parts))
        parts.append(np.asarray(part, np.float64))
        sound += len(part)
    return np.concatenate(parts)[: round(seconds * RATE)]


def tones(case: Case) -> list[Tone]:
    """The device's beeps."""
    rng = np.random.default_rng([case.seed, 1])
    length, period = BATTERY if case.pattern == "battery-critical" else BREATH
    begin = OWN + 4.0 if case.under else FIRST
    made = []
    while begin + length < OWN + LAST:
        stretch = rng.uniform(0.97, 1.03) if case.pattern == "lead-disconnect" else 1.0
        made.append(Tone(begin, length * stretch, case.tone, 0.0, (-20.0, -26.0), ramp=0.008))
        begin += period * (rng.uniform(0.97, 1.03) if case.pattern == "lead-disconnect" else 1.0)
    return made


def scene(case: Case, own: Doubles) -> tuple[NDArray[np.float32], list[Tone]]:
    """(the sound at the microphone, the device's beeps)."""
    rng, beeps = np.random.default_rng([case.seed, 2]), tones(case)
    n = round((OWN + LAST + TAIL) * RATE)
    dry = np.zeros(n)
    for tone in beeps:
        first = round(tone.begin * RATE)
        count = round(tone.length * RATE) + 2
        dry[first : first + count] += tone.at(first, count, RATE)
    device = _in_room(dry, rng)
    one = beeps[0]
    device *= RMS / _rms(device, one.begin + 0.3 * one.length, one.begin + 0.95 * one.length)
    ours = np.zeros(n)
    ours[round(OWN * RATE) :] = own[: n - round(OWN * RATE)]
    ours = _in_room(ours, rng)
    ours *= RMS * 10 ** (case.over / 20) / _rms(ours, OWN + 0.05, OWN + 0.28)
    noise = rng.normal(0.0, RMS * 10 ** (-SNR / 20), n)
    return (device + ours + noise).astype(np.float32), beeps


def _in_room(dry: Doubles, rng: np.random.Generator) -> Doubles:
    return np.asarray(fftconvolve(dry, response(float(rng.uniform(0.3, 0.6)), RATE, rng))[: len(dry)])


def _rms(sound: Doubles, begin: float, end: float) -> float:
    return float(np.sqrt(np.mean(sound[round(begin * RATE) : round(end * RATE)] ** 2)))


def listen(sound: NDArray[np.float32], recognizer: Recognizer, own: float) -> list[Event]:
    """All that is told of it, our own sound beginning at `own` s."""
    events: list[Event] = []
    for at in range(0, len(sound), RATE):
        if at == round(own * RATE):
            recognizer.own_sound(OWN_SOUND)
        events += recognizer.push(sound[at : at + RATE])
    return events + recognizer.flush()


def outcome(case: Case, beeps: Sequence[Tone], events: Sequence[Event]) -> Outcome:
    """What the events say of the device."""
    under = [tone for tone in beeps if tone.begin >= OWN]
    heard = [event for event in events if isinstance(event, Beep)]
    alarms = [event for event in events if isinstance(event, AlarmEvent)]
    mine = [event for event in alarms if event.alarm.pattern == case.pattern and _is(event.alarm.frequency, case.tone)]
    last = beeps[-1].end
    raised = [event.at for event in mine if isinstance(event, Raised)]
    ends = [event.at for event in mine if isinstance(event, Ended)]
    counted = [event.alarm.last for event in mine if isinstance(event, Raised | Changed)]
    return Outcome(
        beeps=len(under),
        found=sum(any(_same(tone, beep) for beep in heard) for tone in under),
        raised=raised[0] - beeps[0].begin if raised else None,
        early=sum(at < last for at in ends),
        latest=last - max(counted, default=0.0),
        ended=next((at - last for at in ends if at >= last), None),
        other=tuple(e.alarm.why for e in alarms if isinstance(e, Raised) and e not in mine),
    )


def _is(one: float, tone: float) -> bool:
    return any(abs(one / (tone * n) - 1) < 0.01 for n in (1, 2, 3))


def _same(tone: Tone, beep: Beep) -> bool:
    """Is this beep that tone, whole?"""
    edges = abs(beep.onset - tone.begin) < 0.2 and abs(beep.end - tone.end) < 0.25
    return edges and _is(beep.frequency, tone.frequency)


def cases(quick: bool) -> list[Case]:
    """Tones at random, and within 2 % of our own harmonics."""
    rng = np.random.default_rng(7)
    apart = [tone for tone in map(float, rng.uniform(900, 4500, 20)) if not near_ours(tone)][: 2 if quick else 5]
    near = [FREQUENCY * k * share for k, share in ((3, 1.012), (5, 0.985), (5, 1.0), (7, 1.004))][: 2 if quick else 4]
    rows = [("lead-disconnect", over, False, True, apart + near) for over in (0.0, 6.0, 12.0, 20.0)]
    rows += [("lead-disconnect", over, True, True, apart + near) for over in (0.0, 12.0)]
    rows += [("lead-disconnect", over, True, False, apart) for over in (0.0, 12.0)]
    rows += [("battery-critical", over, False, True, apart[:3] + near) for over in (0.0, 6.0, 12.0)]
    return [
        Case(pattern, tone, over, under, taught, 100 + i)
        for pattern, over, under, taught, pool in rows
        for i, tone in enumerate(pool)
    ]


def near_ours(tone: float) -> bool:
    """Within 2 % of an odd harmonic of our wake tone, which is what a square wave has."""
    order = max(1, 2 * round((tone / FREQUENCY - 1) / 2) + 1)
    return abs(tone / (order * FREQUENCY) - 1) <= 0.02


def mistaken() -> tuple[float, tuple[str, ...]]:
    """(hours of our own sound alone, the alarms it was taken for)."""
    why: list[str] = []
    for pattern, t60, tone in OWN_CASES:
        events = listen(night(pattern, t60), Recognizer(tone=tone), 0.0)
        why += [event.alarm.why for event in events if isinstance(event, Raised)]
    return len(OWN_CASES) * SECONDS / 3600, tuple(why)


def row(case: Case) -> str:
    """What a case is counted under."""
    place = "within 2 % of our harmonics" if near_ours(case.tone) else "elsewhere"
    begins = "begins under it" if case.under else "goes on under it"
    return f"{case.pattern}, {'taught' if case.taught else 'untaught'}, {begins}, {case.over:+.0f} dB, tone {place}"


def summary(results: Sequence[tuple[Case, Outcome]]) -> dict[str, dict[str, object]]:
    """Counts by row."""
    grouped: dict[str, list[Outcome]] = {}
    for case, made in results:
        grouped.setdefault(row(case), []).append(made)
    return {name: _counts(made) for name, made in grouped.items()}


def _counts(made: Sequence[Outcome]) -> dict[str, object]:
    delays = [one.raised for one in made if one.raised is not None]
    ends = [one.ended for one in made if one.ended is not None]
    return {
        "scenes": len(made),
        "beeps": sum(one.beeps for one in made),
        "found": sum(one.found for one in made),
        "raised": len(delays),
        "raised_after": round(max(delays), 1) if delays else None,
        "false_ends": sum(one.early for one in made),
        "unfollowed_for": round(max(one.latest for one in made), 1),
        "ended": len(ends),
        "ended_after": round(max(ends), 1) if ends else None,
        "other_alarms": [why for one in made for why in one.other],
    }


def main() -> None:
    """Measure, print and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--quick", action="store_true", help="fewer tones, no hour of our own sound alone")
    parser.add_argument("--only", default="", help="rows whose name holds this")
    parser.add_argument("--out", type=Path, default=FOLDER)
    arguments = parser.parse_args()
    ours, results = own_sound(OWN + LAST + TAIL, "lead-disconnect"), list[tuple[Case, Outcome]]()
    for case in cases(arguments.quick):
        if arguments.only in row(case):
            sound, beeps = scene(case, ours)
            events = listen(sound, Recognizer(tone=case.tone if case.taught else None), OWN)
            results.append((case, outcome(case, beeps, events)))
            print(".", end="", flush=True)
    told: dict[str, object] = {"when": datetime.now(UTC).isoformat(timespec="minutes"), "rows": summary(results)}
    for name, counts in summary(results).items():
        print(name, *(f"{key} {value}" for key, value in counts.items()), sep=" | ")
    if not arguments.quick and not arguments.only:
        hours, why = mistaken()
        told |= {"own_sound_hours": hours, "own_sound_alarms": list(why)}
        print(f"our own sound alone: {len(why)} alarms in {hours:g} h")
    if not arguments.only:
        arguments.out.mkdir(exist_ok=True)
        told["scenes"] = [asdict(case) | asdict(made) for case, made in results]
        (arguments.out / "loud.json").write_text(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main()
