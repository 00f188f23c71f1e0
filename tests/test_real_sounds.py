"""Recorded sounds of homes, telephones, clocks, music and machines: none may be named an alarm of the device.

The hardest are played by name, each in the rhythm in which it sounds where it is used; the rest are sampled. A
quiet hiss lies under all of it, since no room is digitally silent. A sound of 0.96-1.08 s that repeats every 3-8 s
on one steady tone over 800 Hz *is* the lead-disconnect pattern as far as anyone can hear, so
`suspend-error.oga` is played once every 25 s only.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from beepwatch.events import Raised
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.synthesis import noise
from tests.realsounds import Sound, mono, named
from tests.realsounds import recorded_sounds as recorded_sounds  # noqa: PLC0414 - the fixture

DEVICE = {"lead-disconnect", "battery-critical", "backup-battery"}
BED = 10 ** (-75 / 20)
"""Amplitude of the hiss under the sounds."""
SAMPLE = 45
"""Other sounds, drawn by a seed, each at most LONGEST s."""
LONGEST = 4.0


@dataclass(frozen=True, slots=True)
class Play:
    """How one recording is played: from `start` for at most `length` s, again every `period` s, `times` times.

    period None: end to end, as a player on repeat does.
    """

    package: str
    ending: str
    length: float = 60.0
    start: float = 0.0
    period: float | None = None
    times: int = 1


PLAYS = (
    Play("jami-daemon", "08_RingFirefly.opus"),
    Play("jami-daemon", "07_RingTribal.opus"),
    Play("jami-daemon", "06_RingSoft.opus"),
    Play("asterisk-moh-opsound-wav", "macroform-robot_dity.wav", 80.0),
    Play("asterisk-moh-opsound-wav", "reno_project-system.wav", 40.0),
    Play("lomiri-sounds", "/Ubuntu.ogg", times=2),
    Play("lomiri-sounds", "/sakenointi.ogg", times=4),
    Play("lomiri-sounds", "/Alarm clock.ogg", 20.0),
    Play("lomiri-sounds", "/Alarm synth.ogg", 20.0),
    Play("baresip-core", "/ringback.wav", times=5),
    Play("baresip-core", "/busy.wav", times=4),
    Play("baresip-core", "/callwaiting.wav", times=4),
    Play("baresip-core", "/ring.wav", period=6.0, times=5),
    Play("baresip-core", "/message.wav"),
    Play("ufoai-sound", "ambience/ufo_night_atm.ogg", 45.0),
    Play("ufoai-sound", "ambience/sand-city.ogg", 30.0),
    Play("ufoai-sound", "ambience/tv_newswav.ogg", 40.0),
    Play("ufoai-sound", "geoscape/basealert.ogg", times=6),
    Play("ufoai-sound", "geoscape/ufospotted.ogg", period=5.0, times=6),
    Play("sound-theme-freedesktop", "/alarm-clock-elapsed.oga", times=5),
    Play("sound-theme-freedesktop", "/phone-incoming-call.oga", period=6.0, times=5),
    Play("sound-theme-freedesktop", "/phone-outgoing-busy.oga", times=4),
    Play("sound-theme-freedesktop", "/phone-outgoing-calling.oga", period=5.0, times=8),
    Play("sound-theme-freedesktop", "/suspend-error.oga", period=25.0, times=2),
    Play("sound-theme-freedesktop", "/complete.oga", period=20.0, times=2),
    Play("oxygen-sounds", "/Oxygen-Im-Phone-Ring.ogg", period=6.0, times=6),
    Play("twinkle-common", "/ringtone.wav", period=6.0, times=5),
    Play("asterisk-core-sounds-en-wav", "/beep.wav"),
)


def played(play: Play, sounds: list[Sound]) -> NDArray[np.float32]:
    """The recording in its rhythm, with 4 s of the room before and 1 s after."""
    whole = mono(named(play.package, play.ending, sounds))
    piece = whole[round(play.start * RATE) : round((play.start + play.length) * RATE)]
    step = len(piece) if play.period is None else max(round(play.period * RATE), len(piece))
    line = np.zeros(step * play.times + 5 * RATE, np.float32)
    for number in range(play.times):
        at = 4 * RATE + number * step
        line[at : at + len(piece)] += piece
    return line


def raised(line: NDArray[np.float32]) -> list[str]:
    """Each alarm that was raised over the sound on its bed of hiss, with when and why."""
    bed = BED * noise("pink", len(line), np.random.default_rng(1))
    recognizer = Recognizer()
    events = [*recognizer.push(np.asarray(line + bed, dtype=np.float32)), *recognizer.flush()]
    return [
        f"{event.alarm.pattern} at {event.at:.1f} s: {event.alarm.why}"
        for event in events
        if isinstance(event, Raised) and event.alarm.pattern in DEVICE
    ]


@pytest.mark.real
@pytest.mark.parametrize("play", PLAYS, ids=lambda play: play.ending.rpartition("/")[2])
def test_the_hardest_recordings_are_no_alarm_of_the_device(play: Play, recorded_sounds: list[Sound]) -> None:
    """Telephones, clocks, sirens, insects and machine-steady music, in their own rhythm."""
    assert raised(played(play, recorded_sounds)) == []


@pytest.mark.real
def test_a_sample_of_all_recordings_is_no_alarm_of_the_device(recorded_sounds: list[Sound]) -> None:
    """45 others drawn by a seed, one after the other with 1-3 s between, at most 4 s of each."""
    rng = np.random.default_rng(3)
    chosen = rng.choice(len(recorded_sounds), SAMPLE, replace=False)
    pieces = []
    for number in chosen:
        pieces.append(mono(recorded_sounds[number].path)[: round(LONGEST * RATE)])
        pieces.append(np.zeros(round(rng.uniform(1, 3) * RATE), np.float32))
    line = np.concatenate(pieces)
    assert len(line) < 5 * 60 * RATE
    assert raised(line) == []
