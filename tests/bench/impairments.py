"""Spoilt microphones, rooms and margins: what `beepwatch check` finds, misses and invents.

`python -m tests.bench.impairments [--quick] [--only TABLE] [--out FILE]` prints four tables:
    impairments   each in rooms by image sources: in how many it was found under a fitting name
    clean rooms   the same rooms unspoilt: what was invented
    T60           by the sweep, against the room's own response measured by pyroomacoustics, octave by octave
    margin        at 0 dB by the meter: share of 1.2 s beeps found, and where 99 % really lies; and how far the level
                  of the device at another place is off when a phone was matched and put there instead
"""

import argparse
import json
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from statistics import fmean, pstdev
from typing import cast

import numpy as np
from scipy.signal import butter, fftconvolve, sosfiltfilt

from beepwatch.bedroom.check import room_check
from beepwatch.bedroom.decay import OCTAVES, answer, decay, room_decay, sweep
from beepwatch.bedroom.findings import Finding
from beepwatch.bedroom.places import Taught, match, measure
from beepwatch.bedroom.sounds import beeps, steady
from beepwatch.bedroom.tone import tone_findings
from beepwatch.events import Beep
from beepwatch.hearing.margin import margin_db
from beepwatch.recognizer import Recognizer
from beepwatch.synthesis import Tone
from beepwatch.synthesis.room import gain_at
from tests.bedroom.impaired import Impairment, during_tone, in_quiet
from tests.bedroom.rooms import KINDS, RATE, Bedroom, Floats, Samples, bedroom, heard, spots, unit

TONE = 2730.0
FAR, NOISE = -16.0, -62.0
"""dB of gain from speaker to microphone, and dBFS of the room's noise: the tone stands 20-40 dB over it."""
STEPS = (-2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 5.0)
ALARM_STEPS = (0.0, 3.0, 6.0, 10.0, 15.0)
"""dB by the meter at which beeps are counted."""
Row = dict[str, object]


def steady_in(room: Bedroom) -> Samples:
    """The test tone in a room, 50 ms late as sound systems are."""
    late = np.concatenate([np.zeros(RATE // 20, np.float32), steady(TONE, RATE)])[: 21 * RATE]
    return heard(late, room.device, FAR, NOISE, room.seed)


def quiet_in(room: Bedroom, seconds: int = 15) -> Samples:
    """The room with nothing played."""
    return heard(np.zeros(seconds * RATE, np.float32), room.device, FAR, NOISE, room.seed)


def by_tone(sound: Samples) -> Sequence[Finding]:
    """What the steady tone shows."""
    return tone_findings(sound[:, None], RATE, TONE)


def by_quiet(sound: Samples) -> Sequence[Finding]:
    """What the quiet room shows; the device's tone is known."""
    return room_check(sound[:, None], RATE, TONE).findings


def impairments(rooms: Sequence[Bedroom]) -> list[Row]:
    """One row for each: how many rooms it was found in, and as what."""
    plays = [(each, steady_in, by_tone) for each in during_tone(TONE, steady(TONE, RATE))]
    rests = [(each, quiet_in, by_quiet) for each in in_quiet(TONE)]
    return [_row(rooms, *each) for each in [*plays, *rests]]


def _row(
    rooms: Sequence[Bedroom],
    one: Impairment,
    sound: Callable[[Bedroom], Samples],
    judge: Callable[[Samples], Sequence[Finding]],
) -> Row:
    told = [{each.kind for each in judge(one.spoil(sound(room)))} for room in rooms]
    names = sorted({kind for kinds in told for kind in kinds})
    return {
        "name": one.name, "family": one.family, "rooms": len(rooms), "found": sum(bool(t & one.kinds) for t in told),
        "anything": sum(bool(t) for t in told), "called": {name: sum(name in t for t in told) for name in names},
    }  # fmt: skip


def clean(rooms: Sequence[Bedroom]) -> list[Row]:
    """What is invented in unspoilt rooms: by the tone, and by the quiet with the tone known and unknown."""
    rows: list[Row] = []
    for room in rooms:
        quiet = quiet_in(room)
        told = [*by_tone(steady_in(room)), *by_quiet(quiet), *room_check(quiet[:, None], RATE, None).findings]
        rows.append({"room": room.seed, "noise": KINDS[room.seed % 4], "found": [each.kind for each in told]})
    return rows


def echoes(rooms: Sequence[Bedroom]) -> list[Row]:
    """T60 by the sweep in noise 40 dB down, against pyroomacoustics on the response itself, filtered alike."""
    from pyroomacoustics.experimental import measure_rt60  # noqa: PLC0415

    rows: list[Row] = []
    for room in rooms:
        sound = heard(sweep(RATE), room.device, -10.0, -60.0, room.seed)
        whole = decay(answer(sound, RATE), RATE)
        row: Row = {"room": room.seed, "asked": room.asked, "all": whole and whole.seconds}
        row["all, true"] = float(measure_rt60(room.device, fs=RATE, decay_db=30))
        found = room_decay(sound, RATE)
        for middle in OCTAVES:
            sections = butter(3, [middle / 2**0.5, middle * 2**0.5], "bandpass", fs=RATE, output="sos")
            truth = float(measure_rt60(sosfiltfilt(sections, room.device), fs=RATE, decay_db=30))
            row[f"{middle:.0f}"] = None if middle not in found else 100 * (found[middle].seconds / truth - 1)
        rows.append(row)
    return rows


def share_found(room: Bedroom, above: float, count: int, seed: int, alarm: bool) -> float:
    """Of `count` beeps of 1.2 s that arrive `above` dB over noise + FAINTEST: share with a beep within 0.3 s and 1 %.

    alarm: all of TONE, known, each 3.2 s as at 19 breaths a minute; else each of another tone, unknown, each 4 s.
    """
    rng = np.random.default_rng(seed)
    starts = 4 + np.arange(count) * (3.2 if alarm else 4.0) + rng.uniform(0, 0.5, count)
    tones = np.full(count, TONE) if alarm else rng.uniform(800, 4500, count)
    sound = np.zeros(round((starts[-1] + 5) * RATE))
    for start, tone in zip(starts, tones, strict=True):
        part = sound[int(start * RATE) : int(start * RATE) + 2 * RATE]
        level = -40.0 + above - margin_db(0.0, 0.0) - gain_at(unit(room.device), tone, RATE)
        part += Tone(start, 1.2, tone, level).at(int(start * RATE), len(part), RATE)
    back = np.random.default_rng(seed + 1).standard_normal(len(sound)) * 10 ** (-43.01 / 20)
    told = _told(
        (fftconvolve(sound, unit(room.device))[: len(sound)] + back).astype(np.float32), TONE if alarm else None
    )
    pairs = zip(starts, tones, strict=True)
    return fmean(any(abs(b.onset - at) < 0.3 and abs(b.frequency / hz - 1) < 0.01 for b in told) for at, hz in pairs)


def _told(sound: Samples, tone: float | None) -> list[Beep]:
    recognizer = Recognizer(tone=tone)
    events = [*recognizer.push(sound), *recognizer.flush()]
    return [each for each in events if isinstance(each, Beep)]


def margins(rooms: Sequence[Bedroom], count: int) -> list[Row]:
    """By room: beeps found at each margin, apart and as an alarm has them; the dB from which 99 % are found.

    Noise is white, -40 dBFS in 0-8 kHz; the beep arrives at its own level whatever the room does to its tone.
    """
    rows: list[Row] = []
    for room in rooms:
        row: Row = {"room": room.seed}
        for name, alarm, steps in (("apart", False, STEPS), ("alarm", True, ALARM_STEPS)):
            shares = [share_found(room, step, count, 100 + room.seed, alarm) for step in steps]
            row[name] = dict(zip(map(str, steps), shares, strict=True))
            row[f"99 % {name}"] = next((s for i, s in enumerate(steps) if min(shares[i:]) >= 0.99), None)
        rows.append(row)
    return rows


def phones(rooms: Sequence[Bedroom]) -> list[Row]:
    """By room: the device's level at a place as the phone tells it, less its true mean over 20 spots there, dB."""
    rows: list[Row] = []
    for room in rooms:
        taught = Taught(TONE, gain_at(room.device, TONE, RATE))
        more = spots(room.seed)
        moved = [_moved(each, room.seed) for each in (more.beside, more.place)]
        still = [_moved(each[:1] * 5, room.seed) for each in (more.beside, more.place)]
        true = fmean(gain_at(each, TONE, RATE) for each in more.others)
        row: Row = {"room": room.seed}
        for name, pair in (("moved", moved), ("still", still)):
            beside, there = (measure(sound[:, None], RATE, TONE) for sound in pair)
            ok = beside is not None and there is not None
            row[name] = there.level + match(beside, taught).offset - true if ok and beside and there else None
        rows.append(row)
    return rows


def _moved(from_: tuple[Floats, ...], seed: int) -> Samples:
    """Five beeps, each from its own spot, loudness as the room gives it, in noise 40 dB down."""
    whole = beeps(TONE, RATE, 5)
    sound = np.zeros(len(whole) + RATE)
    for i, spot in enumerate(from_):
        first = round((0.5 + 3.0 * i) * RATE)
        part = fftconvolve(whole[first : first + 3 * RATE].astype(np.float64), spot)[: 3 * RATE]
        sound[first : first + len(part)] += part
    noise = np.random.default_rng(seed).standard_normal(len(sound)) * 10 ** (-60 / 20)
    return (sound + noise).astype(np.float32)


def _print_finds(rows: Sequence[Row]) -> None:
    print("impairment               family             found  anything  called")
    for row in rows:
        found = f"{row['found']}/{row['rooms']}"
        print(f"{row['name']!s:24} {row['family']!s:18} {found:6} {row['anything']!s:9} {row['called']}")


def _print_clean(rows: Sequence[Row]) -> None:
    invented = sum(bool(row["found"]) for row in rows)
    print(f"\nclean rooms: {invented} of {len(rows)} with a false find {[row['found'] for row in rows]}")


def _print_echoes(rows: Sequence[Row]) -> None:
    for octave in [f"{middle:.0f}" for middle in OCTAVES]:
        errors = [float(str(row[octave])) for row in rows if row[octave] is not None]
        print(f"T60, {octave:>4} Hz: error mean {fmean(errors):+.1f} %, sd {pstdev(errors):.1f} %, "
              f"worst {max(errors, key=abs):+.1f} %, {len(errors)} rooms")  # fmt: skip


def _print_margins(rows: Sequence[Row]) -> None:
    for name, steps in (("apart", STEPS), ("alarm", ALARM_STEPS)):
        shares = [cast(dict[str, float], row[name]) for row in rows]
        pooled = {step: fmean(share[str(step)] for share in shares) for step in steps}
        print(
            f"margin, beeps {name}, all rooms: {', '.join(f'{s:+.0f} dB {100 * p:.1f} %' for s, p in pooled.items())}"
        )
    for row in rows:
        print(f"margin, room {row['room']}: 99 % of beeps apart from {row['99 % apart']} dB, {row['apart']}")
        print(f"   as an alarm, each 3.2 s: 99 % from {row['99 % alarm']} dB, {row['alarm']}")


def _print_phones(rows: Sequence[Row]) -> None:
    for name in ("moved", "still"):
        errors = [float(str(row[name])) for row in rows if row[name] is not None]
        print(f"phone {name}: level of the device off by mean {fmean(errors):+.1f}, sd {pstdev(errors):.1f}, "
              f"worst {max(errors, key=abs):+.1f} dB, {len(errors)} rooms")  # fmt: skip


PRINTS = {"impairments": _print_finds, "clean": _print_clean, "echoes": _print_echoes, "margins": _print_margins,
          "phones": _print_phones}  # fmt: skip


def main(given: Sequence[str] | None = None) -> None:
    """Measure, print, write."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--quick", action="store_true", help="three rooms, few beeps")
    options.add_argument("--only", choices=PRINTS, help="one of the tables")
    options.add_argument("--out", type=Path, metavar="FILE", help="write all of it as JSON")
    chosen = options.parse_args(given)
    rooms = [bedroom(seed) for seed in range(3 if chosen.quick else 10)]
    parts: dict[str, Callable[[Sequence[Bedroom]], list[Row]]] = {
        "impairments": impairments, "clean": clean, "echoes": echoes,
        "margins": partial(margins, count=20 if chosen.quick else 60), "phones": phones,
    }  # fmt: skip
    told = {name: part(rooms) for name, part in parts.items() if chosen.only in (None, name)}
    if (
        "phones" in told and not chosen.quick
    ):  # a tone's level differs so much from spot to spot that ten rooms tell little
        told["phones"] += phones([bedroom(seed) for seed in range(10, 40)])
    for name, table in told.items():
        PRINTS[name](table)
    if chosen.out is not None:
        chosen.out.write_text(json.dumps(told, indent=1))


if __name__ == "__main__":
    main()
