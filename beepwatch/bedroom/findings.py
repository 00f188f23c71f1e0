"""What a check can find, in plain words: what is wrong, by how much, and what to do about it. Pure."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

Kind: TypeAlias = Literal[
    "fades", "gain", "echo", "gated", "sleeps", "asleep", "drop-outs", "lost", "not-heard", "dead-channel", "copy",
    "muted", "far", "clipping", "whine", "hum", "narrow", "wrong-rate",
]  # fmt: skip
Weight: TypeAlias = Literal["fault", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a check found."""

    kind: Kind
    figure: float
    """How much of it; the unit is the one that `says` names."""
    says: str
    """One or two plain sentences: what was found."""
    do: str
    """What a person can do about it."""
    weight: Weight = "fault"
    """A note costs no hearing by itself."""


_TEXTS: dict[Kind, tuple[str, str]] = {
    "fades": (
        "A steady tone grew weaker by {:.0f} dB while it played. Noise filters do this to a long beep.",
        "Turn noise filters off in the sound settings. If there is no such switch, use a plain USB microphone.",
    ),
    "gain": (
        "The microphone changes its own loudness by {:.0f} dB. It turns itself up and down with the sound.",
        "Turn automatic gain off in the sound settings. Then set the level by hand and check again.",
    ),
    "echo": (
        "A tone from this computer was cut by {:.0f} dB, but the phone's tone was not. An echo filter does this.",
        "Turn echo cancelling off. If you cannot, put the speaker on another machine.",
    ),
    "gated": (
        "The sound is shut off while the room is quiet. It came up by {:.0f} dB when the tone began.",
        "Turn voice activation off, or set it to always on. Baby monitors often have such a switch.",
    ),
    "sleeps": (
        "The microphone fell asleep in the quiet. It missed {:.1f} seconds of the tone when it woke.",
        "Do not use it over Bluetooth. Use a cable, or turn off all power saving for it.",
    ),
    "asleep": (
        "For up to {:.0f} seconds at a time there is no sound at all, not even noise. It shuts off when it is quiet.",
        "Turn voice activation and power saving off. Use a cable in place of Bluetooth or a radio.",
    ),
    "drop-outs": (
        "Bits of sound are missing: {:.0f} holes in a minute.",
        "Move the radio link closer, or use a cable. Close other programs and try another USB socket.",
    ),
    "lost": (
        "Sound was skipped {:.0f} times in a minute, with no hole to be seen.",
        "Close other programs, and try another USB socket or a cable in place of a radio link.",
    ),
    "not-heard": (
        "The test tone did not come through. It stood only {:.0f} dB over the noise.",
        "Turn the speaker up or bring it closer. If it is loud in the room, a filter took it out: turn that off.",
    ),
    "dead-channel": (
        "Channel {:.0f} is dead. It carries no sound.",
        "Check the plug and the cable, or choose a microphone with one channel.",
    ),
    "copy": (
        "Channel {:.0f} is a copy of another one. The two count as one microphone.",
        "Nothing needs to be done. A second microphone in another place would hear more.",
    ),
    "muted": (
        "The microphone gives almost no sound: {:.0f} dBFS. It may be muted or unplugged.",
        "Look for a mute switch on it, then at its level in the sound settings. Turn noise filters off there too.",
    ),
    "far": (
        "The beep stands only {:.0f} dB over what can just be heard.",
        "Move the microphone closer to the device, with no cloth in between.",
    ),
    "clipping": (
        "The sound is too loud for the microphone: {:.0f} peaks a minute are cut off.",
        "Turn the microphone's level down until the loudest beep is not cut.",
    ),
    "whine": (
        "Something in the room whines at {:.0f} Hz. The device's beep can hide behind it.",
        "Turn off chargers, lamps and screens one by one. Move the microphone away from what whines.",
    ),
    "hum": (
        "The mains hums at {:.0f} Hz and its multiples.",
        "It is below the beeps. Keep the microphone's cable away from chargers if it gets louder.",
    ),
    "narrow": (
        "Nothing above {:.0f} Hz comes through, as on a phone line. Higher beeps are lost.",
        "Use a cable in place of a Bluetooth headset, and the rate of 16000 or more in the sound settings.",
    ),
    "wrong-rate": (
        "The tone came out {:+.1f} % too high. The sound runs at the wrong speed.",
        "Set the microphone to 48000 in the sound settings, start again and check once more.",
    ),
}
NOTES: frozenset[Kind] = frozenset({"copy", "hum"})


def finding(kind: Kind, figure: float) -> Finding:
    """The finding in words."""
    says, do = _TEXTS[kind]
    if kind == "wrong-rate" and figure < 0:
        return Finding(kind, figure, says.replace("{:+.1f} % too high", "{:.1f} % too low").format(-figure), do)
    return Finding(kind, figure, says.format(figure), do, "note" if kind in NOTES else "fault")


def kinds() -> tuple[Kind, ...]:
    """All that can be found."""
    return tuple(_TEXTS)
