"""What a taught beep is like, in plain words. Read by a tired person: short words, short sentences. Pure."""

from beepwatch.bedroom.candidates import Candidate
from beepwatch.bedroom.learning import LEAST, Learned
from beepwatch.bedroom.picture import bar, rhythm
from beepwatch.settings.sounder import Sounder

NEVER_UNPLUG = (
    "Never unplug a cable to teach me. Breathing comes first.\n"
    "Wait for a time when the cable comes off for care in any case.\n"
    "A trained person must be awake beside them the whole time the cable is off.\n"
    "I wake no one while I learn. Listen with your own ears."
)
"""Told before anything is learned live."""
ALARMS = {
    "lead-disconnect": "It beeped like the cable alarm.",
    "battery-critical": "It beeped like the alarm for an empty battery.",
    "backup-battery": "It beeped like the alarm of the backup battery.",
}
PLAIN = -20.0
"""dB under which a harmonic is not told as strong (judgement)."""
SOFT = 0.05
"""s of rise from which a beep is told as one that fades in (judgement; rooms alone give up to 0.1 s)."""
PICTURED = 12
"""Beeps in a picture at most."""


def few(one: Candidate) -> str:
    """Too few beeps of this tone to learn from."""
    count = len(one.beeps)
    heard = "one beep" if count == 1 else f"{count} beeps"
    return f"I heard {heard} at {one.tone:.0f} Hz. I need {LEAST} beeps to learn one."


def in_words(found: Learned, alarm: str | None) -> str:
    """What was heard, in a few sentences."""
    lines = [f"I heard {found.beeps} beeps at {found.tone:.0f} Hz. Each was about {_seconds(found.length)} long."]
    if found.period is not None:
        lines.append(f"A new one came each {_seconds(found.period)}.")
    if alarm is not None:
        lines.append(ALARMS[alarm])
    strong = [str(k) for k, level in enumerate(found.harmonics, 2) if level is not None and level > PLAIN]
    if strong:
        lines.append(f"It buzzes: I hear it at {_and(strong)} times the tone too.")
    elif found.harmonics:
        lines.append("It is a plain tone.")
    if found.rise is not None and found.rise >= SOFT:
        lines.append("It fades in. A room can do that.")
    return " ".join(lines)


def in_figures(found: Learned) -> str:
    """The same for a person who likes figures."""
    parts = [f"tone {found.tone:.1f} Hz (+-{found.spread * found.tone:.1f})", f"level {found.level:.0f} dBFS"]
    if found.steadiness is not None:
        parts.append(f"steadiness {found.steadiness:.2f} of 1")
    parts += [f"{k} x tone {_decibel(level)}" for k, level in enumerate(found.harmonics, 2)]
    parts += [f"{name} {1000 * edge:.0f} ms" for name, edge in (("rise", found.rise), ("fall", found.fall)) if edge]
    return ", ".join(parts)


def picture(one: Candidate, found: Learned, pen: str) -> str:
    """The rhythm, and the harmonics as bars below it."""
    shown = one.beeps[:PICTURED]
    span = shown[-1].end - shown[0].onset
    lines = [f"  {rhythm([(beep.onset, beep.duration) for beep in shown], pen)}  {_seconds(span)}"]
    for k, level in enumerate((0.0, *found.harmonics), 1):
        name = "tone" if k == 1 else f"{k} x"
        lines.append(f"  {name:>5} {'' if level is None else bar(level, 0.0, pen)}".rstrip())
    return "\n".join(lines)


def kept(one: Sounder) -> str:
    """What follows from keeping it."""
    what = {
        "wake": "I know this beep now. Its alarms wake you, and I am sooner sure of them.",
        "log": "I write its alarms down and wake no one for them.",
        "ignore": "Its beeps count for no alarm from now on.",
    }
    return f"Kept as {one.name}. {what[one.role]}"


def listed(one: Sounder, device: bool) -> str:
    """One line about a taught beep."""
    drift = "" if one.followed is None else f" (was {one.tone:.1f} Hz when taught)"
    whose = ", your device" if device else ""
    return f"{one.name}: {one.role}{whose}, {one.now:.1f} Hz{drift}, {_seconds(one.length)}, taught {one.taught}"


def _seconds(value: float) -> str:
    if value < 0.95:
        return f"{value:.2g} s"
    return f"{value:.1f} s" if value < 10 else f"{value:.0f} s"


def _decibel(level: float | None) -> str:
    return "hidden" if level is None else f"{level:.0f} dB"


def _and(items: list[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"
