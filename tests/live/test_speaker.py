"""The speaker through a real sound server: how soon, what sounds, and what it does when the server fails."""

import subprocess
import time
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pytest

from beepwatch.channels.tone import FREQUENCY, INTERVALS, PULSE, REST, onsets
from tests.live.bedside import RATE, Ears, Speaking
from tests.live.room import Room

pytestmark = pytest.mark.live
LINE = "This is for Anna. Go to Sam now."
TONE = onsets()[-1] + PULSE
SOON = 0.3
"""s from the order to the first sound, at most."""


@pytest.fixture
def ears(room: Room) -> Iterator[Ears]:
    """Ears at the bedside."""
    made = Ears(room)
    yield made
    made.close()


@pytest.fixture
def speaking(room: Room) -> Iterator[Speaking]:
    """A speaker, ready, with `LINE` rendered."""
    made = Speaking(room, LINE)
    made.expect("Ready", 20)
    yield made
    made.close()


def power(samples: npt.NDArray[np.float64], low: float, high: float) -> float:
    """Share of the power between two frequencies."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE)
    return float(spectrum[(hertz >= low) & (hertz <= high)].sum() / spectrum.sum())


def tonal(samples: npt.NDArray[np.float64]) -> float:
    """Share of the power at 520 Hz and its odd harmonics, each +-2 %."""
    return sum(power(samples, FREQUENCY * k * 0.98, FREQUENCY * k * 1.02) for k in (1, 3, 5, 7, 9, 11, 13))


def level(samples: npt.NDArray[np.float64]) -> float:
    """Rms."""
    return float(np.sqrt(np.mean(samples**2)))


def await_started(speaking: Speaking) -> None:
    """Wait until there is sound again; what it says of faults until then is passed over."""
    while speaking.report(10)["kind"] != "Started":
        pass


def test_the_first_sound_is_there_in_time(speaking: Speaking, ears: Ears) -> None:
    """Ten orders, each from silence: the caller waits for nothing, sound is at the bedside within 0.3 s."""
    waits = []
    for number in range(10):
        order = speaking.do(f"play {number} {LINE}")
        assert order["took"] < 0.02
        told = speaking.expect("Started", 3)
        heard = ears.first_sound(order["at"], 3)
        waits.append(heard - order["at"])
        assert told["at"] - heard < 0.2  # what it reports is no earlier than 10 ms before the truth
        assert heard - told["at"] < 0.03
        speaking.do("stop")
        time.sleep(0.3)  # silence between two orders
    print(f"order to first sound: median {np.median(waits):.3f} s, worst {max(waits):.3f} s")
    assert max(waits) < SOON, waits


def test_tone_then_speech_then_tone_again_until_stopped(speaking: Speaking, ears: Ears) -> None:
    """At the bedside: the rhythm at 520 Hz, speech that is no tone, the rhythm again; then silence."""
    order = speaking.do(f"play 1 {LINE}")
    start = ears.first_sound(order["at"], 3)
    tone = ears.between(start, start + TONE)
    assert tonal(tone) > 0.9
    assert level(tone) > 0.2
    speech = ears.between(start + TONE + REST, start + TONE + REST + 1.5)
    assert level(speech) > 0.02
    assert tonal(speech) < 0.3
    assert power(speech, 100, 4000) > 0.8
    again = ears.first_sound(start + TONE + REST + 2.5, 5)
    whole = ears.between(start, again + 6)
    frames = whole[: len(whole) // (RATE // 20) * (RATE // 20)].reshape(-1, RATE // 20)
    loud = np.array([level(frame) > 0.2 and tonal(frame) > 0.6 for frame in frames])
    begins = np.flatnonzero(np.diff(loud.astype(int)) == 1) * 0.05
    second = begins[begins > TONE]
    assert np.diff(second)[:4] == pytest.approx(INTERVALS[:4], abs=0.11)
    end = speaking.do("stop")["at"]
    assert level(ears.between(end + 0.5, end + 1.5)) == 0.0


def test_a_server_that_dies_is_told_and_the_next_one_sounds(room: Room, speaking: Speaking, ears: Ears) -> None:
    """Killed in mid-tone: told within 2 s; with the new server it sounds again without being asked."""
    speaking.do(f"play 1 {LINE}")
    speaking.expect("Started", 3)
    killed = time.monotonic()
    room.kill_server()
    assert "server" in speaking.expect("Failed", 3)["text"]
    assert time.monotonic() - killed < 2
    room.restart_server()
    restarted = time.monotonic()
    later = Ears(room)
    await_started(speaking)
    assert later.first_sound(restarted, 5) - restarted < 5
    later.close()


def test_a_server_that_hangs_in_mid_tone_is_told_and_taken_up_again(room: Room, speaking: Speaking) -> None:
    """Frozen: told within 3 s, `stop` and `play` return at once; when it goes on there is sound."""
    speaking.do(f"play 1 {LINE}")
    speaking.expect("Started", 3)
    frozen = time.monotonic()
    room.hang_server()
    speaking.expect("Failed", 5)
    assert time.monotonic() - frozen < 3
    assert speaking.do("stop")["took"] < 0.02
    assert speaking.do(f"play 2 {LINE}")["took"] < 0.02
    room.wake_server()
    await_started(speaking)


def test_a_speaker_that_is_suspended_is_told_and_taken_up_again(room: Room, speaking: Speaking) -> None:
    """Its sink takes nothing for a while: told within 3 s, and after that there is sound."""
    speaking.do(f"play 1 {LINE}")
    speaking.expect("Started", 3)
    suspended = time.monotonic()
    subprocess.run(["pactl", "suspend-sink", "BEDSIDE", "1"], env=room.env, check=True, timeout=5)
    assert "takes no sound" in speaking.expect("Failed", 5)["text"]
    assert time.monotonic() - suspended < 3
    subprocess.run(["pactl", "suspend-sink", "BEDSIDE", "0"], env=room.env, check=True, timeout=5)
    await_started(speaking)


def test_an_order_to_a_hanging_server_is_carried_out_when_it_goes_on(
    room: Room, speaking: Speaking, ears: Ears
) -> None:
    """Frozen before the alarm: told within 4 s, and sound as soon as it can be."""
    room.hang_server()
    order = speaking.do(f"play 1 {LINE}")
    assert order["took"] < 0.02
    assert "does not answer" in speaking.expect("Failed", 6)["text"]
    assert time.monotonic() - order["at"] < 4
    room.wake_server()
    speaking.expect("Started", 10)
    ears.first_sound(order["at"], 5)


def test_without_a_server_it_says_so_and_goes_on(room: Room) -> None:
    """Started with no sound server at all: one line that says what to do, no end."""
    room.kill_server()
    speaking = Speaking(room)
    told = [speaking.report(20) for _ in range(2)]  # it is ready, whichever comes first
    assert ["start the sound server" in report.get("text", "") for report in told].count(True) == 1
    speaking.do("play 1")
    speaking.do("stop")
    speaking.close()
