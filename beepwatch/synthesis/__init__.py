"""Made-up nights to test against: a scenario in, samples and the truth of them out. No file is touched here.

`render(decode(text))` gives a `Scene`; `blocks` gives the same second by second. `noise`, `beep`, `repeated`
and `response` are the parts it is made of.
"""

from beepwatch.synthesis.backgrounds import band_power, noise, repeated
from beepwatch.synthesis.planning import Plan, plan
from beepwatch.synthesis.rhythms import RHYTHMS, PatternName, Rhythm
from beepwatch.synthesis.room import response
from beepwatch.synthesis.scenario import Background, Ring, Room, Scenario, Thump, decode
from beepwatch.synthesis.scene import Scene, blocks, render
from beepwatch.synthesis.tones import Tone, beep
from beepwatch.synthesis.truth import AlarmTruth, BeepTruth, OtherTruth, Truth, as_json, as_tsv

__all__ = [
    "RHYTHMS",
    "AlarmTruth",
    "Background",
    "BeepTruth",
    "OtherTruth",
    "PatternName",
    "Plan",
    "Rhythm",
    "Ring",
    "Room",
    "Scenario",
    "Scene",
    "Thump",
    "Tone",
    "Truth",
    "as_json",
    "as_tsv",
    "band_power",
    "beep",
    "blocks",
    "decode",
    "noise",
    "plan",
    "render",
    "repeated",
    "response",
]
