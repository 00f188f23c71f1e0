"""Settings that change while it listens: names and roles at once, devices at the next start, a mistake never."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from beepwatch.events import Beep, Ended, Event, Raised
from beepwatch.recognizer import RATE, Recognizer
from beepwatch.settings.file import FILE, change, keep_sounder
from beepwatch.settings.household import household
from beepwatch.sources.block import Samples
from beepwatch.synthesis import decode, render
from beepwatch.waking.messages import Messages
from beepwatch.watch.changes import HouseholdChanges
from tests.test_settings import sounder
from tests.watch.hand import Bedroom, alarm

LEAD = """
duration = 40.0
seed = 4
level = -66.0
[background]
kind = "white"
[[alarms]]
pattern = "lead-disconnect"
start = 2.0
count = 8
breaths_a_minute = 15
length = 1.2
snr = 20.0
"""


class Ears:
    """Remembers what it was told to set aside."""

    def __init__(self) -> None:
        self.told: list[tuple[float, ...]] = []
        self.known: list[tuple[float | None, float | None]] = []

    def know(self, tone: float | None, length: float | None = None) -> None:
        self.known.append((tone, length))

    def set_aside(self, tones: Sequence[float]) -> None:
        self.told.append(tuple(tones))


class Run:
    """The changes of one run, with what they did."""

    def __init__(self, folder: Path, tone: float | None = None) -> None:
        self.named: list[Messages] = []
        self.changes = HouseholdChanges(household(folder), tone, self.named.append)
        self.ears = Ears()
        self.changes.heard_by(self.ears)


def test_a_name_is_taken_over_at_once(tmp_path: Path) -> None:
    """The messages have it, and a line says so; nothing is read more often than each second."""
    run = Run(tmp_path)
    assert run.changes.look(0.0) == []
    change(tmp_path, "names.person", "Sam")
    assert run.changes.look(0.5) == []
    assert run.changes.look(1.0) == ["Changed: names.person is now Sam."]
    assert "Go to Sam now" in run.named[0].lines("lead-disconnect")[1]
    assert run.changes.look(2.0) == []


def test_a_device_waits_for_the_next_start(tmp_path: Path) -> None:
    """And the line says so."""
    run = Run(tmp_path)
    change(tmp_path, "sound.microphone", "USB")
    assert run.changes.look(1.0) == ["Changed: sound.microphone is now USB. It waits for the next start of watch."]
    assert run.named == []


def test_a_taught_or_set_tone_is_taken_over_at_once(tmp_path: Path) -> None:
    """With the length of the beep where it was taught; nothing waits, and a line says so."""
    run = Run(tmp_path)
    assert run.ears.known == [(None, None)]
    keep_sounder(tmp_path, sounder("device", tone=2730))
    lines = run.changes.look(1.0)
    assert run.ears.known[-1] == (2730.0, sounder("device").length)
    assert "Changed: device.tone is now 2730.0 (device)." in lines
    change(tmp_path, "device.tone", "3100")
    assert run.changes.look(2.0)[0] == "Changed: device.tone is now 3100."
    assert run.ears.known[-1:] == [(3100.0, None)]


def test_a_tone_of_the_command_line_stays(tmp_path: Path) -> None:
    """Until the next start; the line says so."""
    run = Run(tmp_path, tone=2500.0)
    change(tmp_path, "device.tone", "3100")
    (line, *_) = run.changes.look(1.0)
    assert line.endswith("Until the next start 2500 Hz holds, as the command line says.")
    assert {tone for tone, _ in run.ears.known} == {2500.0}


def test_a_tone_told_while_an_alarm_goes_on_ends_nothing() -> None:
    """The alarm that is under way keeps its number and goes on; beeps are as without it."""
    samples = lead()
    recognizer = Recognizer()
    events = list(recognizer.push(samples[: 20 * RATE]))
    recognizer.know(2730.0, 1.2)
    events += [*recognizer.push(samples[20 * RATE :]), *recognizer.flush()]
    assert [event.alarm.number for event in events if isinstance(event, Raised)] == [1]
    assert sum(isinstance(event, Beep) for event in events) == 8


def test_a_mistake_changes_nothing_and_is_told_once(tmp_path: Path) -> None:
    """What held before goes on; mending it is taken over."""
    change(tmp_path, "names.person", "Sam")
    run = Run(tmp_path)
    good = (tmp_path / FILE).read_text()
    (tmp_path / FILE).write_text(good + "[names\n")
    (line,) = run.changes.look(1.0)
    assert "I go on with those from before" in line
    assert run.changes.look(2.0) == []
    (tmp_path / FILE).write_text(good.replace("Sam", "Mia"))
    assert run.changes.look(3.0) == ["Changed: names.person is now Mia."]


def test_an_ignored_beep_is_set_aside_at_once_but_never_the_device(tmp_path: Path) -> None:
    """Beside the tone of this run and beside the newest one."""
    run = Run(tmp_path, tone=2730.0)
    keep_sounder(tmp_path, sounder("oven", role="ignore", tone=2000))
    lines = run.changes.look(1.0)
    assert any("oven (ignore, 2000 Hz)" in line for line in lines)
    assert run.ears.told[-1] == (2000.0,)
    keep_sounder(tmp_path, sounder("oven", role="ignore", tone=2740))
    lines = run.changes.look(2.0)
    assert not run.ears.told[-1]
    assert any("within 3 %" in line for line in lines)


def heard(recognizer: Recognizer, samples: Samples, size: int) -> list[Event]:
    """All events of a sound in pieces of `size` samples."""
    pieces = range(0, len(samples), size)
    return [event for i in pieces for event in recognizer.push(samples[i : i + size])] + recognizer.flush()


def lead() -> Samples:
    """Eight beeps of a cable alarm in hiss."""
    return np.ascontiguousarray(render(decode(LEAD)).samples).reshape(-1)


@pytest.mark.parametrize("size", [700, RATE])
def test_an_ignored_sounder_raises_nothing_and_its_beeps_are_told(size: int) -> None:
    """The same beeps in any split; without it the same sound is an alarm."""
    samples = lead()
    before = heard(Recognizer(), samples, size)
    tone = next(event.frequency for event in before if isinstance(event, Beep))
    after = heard(Recognizer(aside=(tone,)), samples, size)
    assert any(isinstance(event, Raised) for event in before)
    assert not any(isinstance(event, Raised) for event in after)
    beeps = [event for event in before if isinstance(event, Beep)]
    assert [event for event in after if isinstance(event, Beep)] == beeps


def test_a_disarmed_pattern_is_not_named() -> None:
    """Its beeps are no lead alarm any more."""
    events = heard(Recognizer(disarmed=("lead-disconnect",)), lead(), RATE)
    names = {event.alarm.pattern for event in events if isinstance(event, Raised)}
    assert "lead-disconnect" not in names


def test_a_logged_alarm_wakes_nobody_and_is_written(tmp_path: Path) -> None:
    """It is told on the screen and in the history, its end too; an alarm of another tone wakes as ever."""
    home = tmp_path / "config"
    keep_sounder(home, sounder("neighbour", role="log", tone=2730.0))
    changes = HouseholdChanges(household(home), 3500.0, lambda messages: None)
    other = replace(alarm(number=2, onset=5.0, last=12.7), frequency=3500.0)
    events: list[tuple[float, Event]] = [
        (10.0, Raised(10.0, alarm(last=9.7))),
        (13.0, Raised(13.0, other)),
        (19.0, Ended(19.0, alarm(last=9.7))),
    ]
    bedroom = Bedroom(tmp_path, [("sound", 20)], events, changes=changes)
    bedroom.run()
    assert {numbers for _, numbers, _ in bedroom.speaker.played} == {(2,)}
    assert len(bedroom.heard("ALARM: lead-disconnect")) == 2
    assert bedroom.heard("ENDED: lead-disconnect")
    with bedroom.history as history:
        assert [one.state.frequency for one in history.alarms()] == [2730.0, 3500.0]


def test_the_history_has_the_settings_that_held(tmp_path: Path) -> None:
    """Those of the start, and those since a change; a change back is the first text again."""
    settings, data = tmp_path / "settings", tmp_path / "data"
    data.mkdir()
    changes = HouseholdChanges(household(settings), None, lambda _: None)
    script = [("sound", 5.0), ("name", 0.0), ("sound", 5.0), ("back", 0.0), ("sound", 5.0)]
    bedroom = Bedroom(data, script, changes=changes)
    bedroom.calls["name"] = lambda: change(settings, "names.person", "Sam")
    bedroom.calls["back"] = lambda: change(settings, "names.person", None)
    bedroom.run()
    with bedroom.history as history:
        first, second, third = history.settings_in_force()
    assert first.text is not None
    assert second.text is not None
    assert "names.person = the person" in first.text
    assert "names.person = Sam" in second.text
    assert third.text == first.text
    assert first.at < second.at < third.at
