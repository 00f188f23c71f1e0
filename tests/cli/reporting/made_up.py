"""Made-up events of one short night, for the writers."""

from dataclasses import replace

from beepwatch.events import Alarm, Beep, Changed, Ended, Event, Raised, SteadyTone

LEAD = Alarm(
    number=1,
    pattern="lead-disconnect",
    priority="high",
    onset=10.0,
    raised=21.5,
    ended=None,
    last=21.2,
    beeps=3,
    duration=1.2,
    period=5.0,
    frequency=2730.126,
    confidence=0.98765,
    why="3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz",
)
BATTERY = Alarm(
    number=2,
    pattern="battery-critical",
    priority="high",
    onset=40.0,
    raised=60.3,
    ended=None,
    last=60.0,
    beeps=1,
    duration=20.0,
    period=None,
    frequency=2730.0,
    confidence=0.91,
    why="1 beep of 20 s at 2.73 kHz",
)
HUM = SteadyTone(onset=2.5, frequency=1049.999, level=-52.04, known=62.5)


def beep(onset: float, duration: float = 1.2) -> Beep:
    """A beep that becomes known 0.3 s after its end."""
    return Beep(onset, duration, 2730.126, -60.04, 9.96, onset + duration + 0.3)


def night() -> list[Event]:
    """Three beeps, the lead's alarm, a fourth beep; it ends; a battery alarm that stays open; a hum."""
    more = replace(LEAD, beeps=4, last=26.2)
    return [
        beep(10.0),
        beep(15.0),
        beep(20.0),
        Raised(21.5, LEAD),
        beep(25.0),
        Changed(26.5, more),
        beep(40.0, 20.0),
        Raised(60.3, BATTERY),
        Ended(62.0, replace(more, ended=26.2)),
        HUM,
    ]
