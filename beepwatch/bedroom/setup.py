"""The guided first run: eight steps, each of which can be done alone, stopped, and gone on with later."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Protocol

from beepwatch.bedroom.devices import Played
from beepwatch.bedroom.picture import bar
from beepwatch.bedroom.talk import Talk
from beepwatch.bedroom.teach import Wish, from_recording, teach
from beepwatch.errors import BeepwatchError, CannotHear, InputError
from beepwatch.settings.file import change
from beepwatch.settings.household import Household, household
from beepwatch.settings.language import catalogue_of
from beepwatch.waking.messages import Messages

STEPS = ("room", "microphone", "speaker", "names", "device", "teach", "check", "wake")
SHOWN = 5.0
"""s that a microphone's level is shown."""
JUMP = 15.0
"""dB over the room by which a clap at arm's length shows (judgement: it makes 30 and more)."""
HEARD = 6.0
"""dB over the room from which the microphone has heard the tone (judgement)."""
LOUD, SPAN = -10.0, 80.0
"""dBFS of a full bar, and dB from there to an empty one."""
PATTERNS = {
    "lead-disconnect": "It beeps with each breath when a lead or the cable is off.",
    "battery-critical": "It beeps for 20 seconds, each minute, when the battery is almost empty.",
    "backup-battery": "It beeps for 10 seconds, each hour, when it runs on the backup battery.",
}
INTRO = (
    "This sets up beepwatch in about ten minutes. Press Enter to take the answer in [ ].\n"
    "You can stop at any time with Ctrl-C, and go on later. Each step can be done again.\n"
    "This is an extra pair of ears. It is not a medical device."
)
END = (
    "All steps are done. Start the night with: beepwatch watch --guarded\n"
    "It is an extra pair of ears. If the device is off, it makes no sound. So silence does not mean all is well."
)
TEXTS = {
    "room": "Where do you sleep?",
    "same": "Put the microphone an arm's length from the device. Put the speaker by your own bed.",
    "apart": (
        "The microphone must be in the room of the device, an arm's length from it.\n"
        "The speaker must be by your bed. A long cable will do.\n"
        "A phone or a second computer can wake you too. The README tells how: watch --page, bedside."
    ),
    "microphone": "Which microphone is in the room of the device?",
    "clap": "I show how loud it is for five seconds. Clap your hands now.",
    "speaker": "Which speaker is by your bed? I play a soft tone on it for four seconds.",
    "names": "Names make the words at night clear. Leave one empty if you like.",
    "device": (
        "Look at the book that came with your device. Which of these does it tell of?\n"
        "Say no only if the book says it does not do so. If you are not sure, I listen for it all the same."
    ),
    "teach": (
        "Now I learn the beep of your device. That makes me faster and surer.\n"
        "Do you have a recording of it? A phone will do. Never unplug a cable to make one.\n"
        "If you have none, press Enter. After the next real alarm, run: beepwatch teach"
    ),
    "check": "Now I check the microphone and the room.",
    "wake": "Last, a test. I wake you as I would at night. It is loud. Press Enter to begin, and Enter to stop.",
}


class Kit(Protocol):
    """What is needed of `devices.Devices`."""

    def microphones(self) -> list[str]: ...  # noqa: D102
    def speakers(self) -> list[str]: ...  # noqa: D102
    def levels(self, microphone: str, seconds: float, show: Callable[[float], None]) -> list[float]: ...  # noqa: D102
    def play(self, speaker: str, microphone: str | None) -> Played: ...  # noqa: D102
    def wake(self, speaker: str, lines: Sequence[str], until: Callable[[], object]) -> str | None: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Setup:
    """One guided run. check: does the step `check` and returns its exit code; None where there is no such step."""

    talk: Talk
    folder: Path
    kit: Kit
    pen: str
    today: date
    check: Callable[[], int] | None

    @property
    def home(self) -> Household:
        """The household as it is kept now."""
        return household(self.folder)

    @property
    def done(self) -> list[str]:
        """Steps that are done, in the order in which they were."""
        return self.home.settings.setup.done.split()

    def run(self, only: str | None = None, again: bool = False) -> None:
        """All steps that are not done yet; `only`: this one; `again`: all. Raises one of our errors, one line."""
        steps = [only] if only else [step for step in STEPS if again or step not in self.done]
        if only is None:
            self.talk.say(INTRO)
            if len(steps) < len(STEPS):
                self.talk.say(f"Done before: {', '.join(step for step in STEPS if step not in steps)}.")
        for step in steps:
            self.talk.say(f"\n{STEPS.index(step) + 1} of {len(STEPS)}: {step}")
            self._do(step)
        if only is None:
            self.talk.say(f"\n{self._end()}")
            self.talk.say(f"That took {self.talk.questions} questions and {_minutes(self.talk.seconds)}.")

    def _end(self) -> str:
        """What follows: the night, or the steps that are still open."""
        left = [step for step in STEPS if step not in self.done]
        if not left:
            return END
        return f"Still open: {', '.join(left)}. Go on with: beepwatch setup"

    def _do(self, step: str) -> None:
        """One step; a microphone or speaker that fails is told, and the step stays open."""
        try:
            well = {
                "room": self.room, "microphone": self.microphone, "speaker": self.speaker, "names": self.names,
                "device": self.device, "teach": self.teach, "check": self.checked, "wake": self.wake,
            }[step]()  # fmt: skip
        except InputError:
            raise
        except BeepwatchError as error:
            self.talk.say(f"That did not work: {error}.")
            well = False
        if well:
            self._set("setup.done", " ".join([*(one for one in self.done if one != step), step]))
        else:
            self.talk.say(f"This step is still open. Do it again with: beepwatch setup --step {step}")

    # ---------------------------------------------------------------- the steps; each tells whether it is done

    def room(self) -> bool:
        """The caregiver's room."""
        self.talk.say(TEXTS["room"])
        same = self.talk.yes("Do you sleep in the same room as the device?", default=self._same())
        self._set("home.same-room", "yes" if same else "no")
        self.talk.say(TEXTS["same" if same else "apart"])
        return True

    def microphone(self) -> bool:
        """Chosen by hearing: a clap must show."""
        self.talk.say(TEXTS["microphone"])
        for _ in range(3):
            name = self._choose(self.kit.microphones(), self.home.settings.sound.microphone, "microphone")
            self.talk.say(TEXTS["clap"])
            levels = self.kit.levels(name, SHOWN, self._bar)
            self.talk.say(_heard_clap(levels, self.pen))
            if self.talk.yes("Is this the one?", default=_jumped(levels)):
                self._set("sound.microphone", name)
                return True
        return False

    def speaker(self) -> bool:
        """Chosen by playing; the microphone listens too."""
        self.talk.say(TEXTS["speaker"])
        for _ in range(3):
            name = self._choose(self.kit.speakers(), self.home.settings.sound.speaker, "speaker")
            played = self.kit.play(name, self.home.settings.sound.microphone if "microphone" in self.done else None)
            self.talk.say(_heard_tone(played, self._same()))
            if self.talk.yes("Did you hear a soft tone?", default=played.fault is None):
                self._set("sound.speaker", name)
                return True
        return False

    def names(self) -> bool:
        """Names and words for the messages."""
        self.talk.say(TEXTS["names"])
        for key, question in (
            ("names.person", "Who has the device?"),
            ("names.caregiver", "Who is to be woken?"),
            ("words.emergency", "What number do you call in an emergency?"),
            ("words.backup-plan", "What do you call your plan for when the device fails?"),
        ):
            old = {"names": self.home.settings.names, "words": self.home.settings.words}[key.split(".")[0]]
            self._set(key, self.talk.ask(question, getattr(old, key.split(".")[1].replace("-", "_")), fits=_short))
        said = self._messages().lines("lead-disconnect")
        self.talk.say(f"So I would say: {said[0]} {said[1]} {said[3]}")
        return True

    def device(self) -> bool:
        """Which alarms the device's own instructions tell of."""
        self.talk.say(TEXTS["device"])
        for pattern, text in PATTERNS.items():
            self.talk.say(f"- {text}")
            answer = self.talk.choose("Does the book say this?", ("yes", "no", "unsure"), "unsure")
            self._set(f"armed.{pattern}", "unasked" if answer == "unsure" else answer)
        return True

    def teach(self) -> bool:
        """From a recording, or later."""
        self.talk.say(TEXTS["teach"])
        file = self.talk.ask("The name of the file, or Enter for later:")
        if not file:
            return True
        try:
            heard = from_recording(Path(file).expanduser())
        except InputError as error:
            self.talk.say(f"{error}.")
            return False
        return teach(heard, self.talk, self.folder, Wish(), pen=self.pen, today=self.today) is not None

    def checked(self) -> bool:
        """By `check`, where it is there."""
        if self.check is None:
            self.talk.say("That step is not there yet. I go on without it.")
            return True
        self.talk.say(TEXTS["check"])
        if not self.talk.yes("Is it as quiet as at night, and do you have two minutes?", default=True):
            return False
        return self.check() == 0

    def wake(self) -> bool:
        """A test wake, as at night."""
        self.talk.say(TEXTS["wake"])
        if not self.talk.yes("Begin?", default=True):
            return False
        lines = self._messages().lines("lead-disconnect")
        fault = self.kit.wake(
            self.home.settings.sound.speaker, lines, lambda: self.talk.ask("It sounds now. Press Enter to stop.")
        )
        if fault is not None:
            self.talk.say(f"{fault}.")
        woke = self.talk.yes("Would that wake you from deep sleep?", default=fault is None)
        if not woke:
            self.talk.say("Turn it up, or move the speaker to your pillow.")
        return woke

    # ----------------------------------------------------------------

    def _set(self, key: str, value: str) -> None:
        change(self.folder, key, value or None)

    def _same(self) -> bool:
        return self.home.settings.home.same_room == "yes"

    def _messages(self) -> Messages:
        names, words = self.home.settings.names, self.home.settings.words
        catalogue = catalogue_of(self.home.settings, self.folder)
        return Messages(names.caregiver, names.person, words.emergency, words.backup_plan, catalogue=catalogue)

    def _choose(self, names: list[str], before: str, kind: str) -> str:
        """One of the devices; "" is the system's own."""
        if not names:
            raise CannotHear(f"there is no {kind} here: plug one in, or start the sound server")
        for number, name in enumerate(names, 1):
            self.talk.say(f"  {number}  {name}")
        self.talk.say("  0  the one that this computer uses by itself")
        default = str(names.index(before) + 1) if before in names else "0"
        valid = {str(number) for number in range(len(names) + 1)}
        picked = int(self.talk.ask("Its number?", default, fits=valid.__contains__))
        return "" if picked == 0 else names[picked - 1]

    def _bar(self, level: float) -> None:
        self.talk.over(f"  {_level(level, self.pen)} {level:.0f} dB")


def _level(level: float, pen: str) -> str:
    """A microphone's level as a bar: a quiet room fills a quarter of it, a clap near all (judgement)."""
    return bar(level, LOUD, pen, span=SPAN, width=30)


def _jumped(levels: Sequence[float]) -> bool:
    """Whether something loud stood out from the room."""
    known = sorted(level for level in levels if math.isfinite(level))
    return bool(known) and known[-1] - known[len(known) // 2] >= JUMP


def _heard_clap(levels: Sequence[float], pen: str) -> str:
    known = sorted(level for level in levels if math.isfinite(level))
    if not known:
        return "\nI hear nothing at all from it. It is off, or muted."
    shown = f"\n  room {_level(known[len(known) // 2], pen)}\n  clap {_level(known[-1], pen)}\n"
    return shown + ("I heard you clap." if _jumped(levels) else "I did not hear a clap.")


def _heard_tone(played: Played, same: bool) -> str:
    if played.fault is not None:
        return f"It did not play: {played.fault}."
    if played.rise is None:
        return "It played."
    if played.rise >= HEARD:
        return f"It played, and the microphone heard it too ({played.rise:.0f} dB over the room)."
    why = "Is it far off?" if same else "It may be too far off."
    return f"It played. The microphone did not hear it. {why}"


def _short(text: str) -> bool:
    return len(text) <= 60 and text.isprintable()


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} seconds" if seconds < 120 else f"{seconds / 60:.0f} minutes"
