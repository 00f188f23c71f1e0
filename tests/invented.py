"""Invented histories: two ordinary months of a family, a full one, and what can be entered to do harm."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from beepwatch.care.routine import BATTERY, EXIT_SITE
from beepwatch.events import Alarm, Priority
from beepwatch.records.entries import CareEvent, Finding
from beepwatch.records.store import Store

ZONE = ZoneInfo("Europe/Berlin")
FIRST, LAST = date(2026, 1, 30), date(2026, 3, 31)
"""61 nights, over the spring change of the clocks on 29 March; the period before is there as well."""
SOUNDS: dict[str, tuple[Priority, float, str]] = {
    "lead-disconnect": ("high", 90.0, "18 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz"),
    "battery-critical": ("high", 300.0, "5 beeps of 20.0 s, one every 60 s, all at 2.73 kHz"),
    "backup-battery": ("medium", 3610.0, "2 beeps of 10.0 s, one every hour, all at 2.73 kHz"),
    "medical-medium": ("medium", 40.0, "bursts of three pulses at 0.98 kHz"),
    "unknown": ("low", 60.0, "20 beeps of 0.5 s, one every 3.0 s, all at 2.00 kHz"),
}
FINDINGS: tuple[Finding, ...] = ("cable", "battery", "false-alarm", "other")


@dataclass
class House:
    """Writes a history by the clock of a house; randomness is seeded."""

    store: Store
    zone: tzinfo = ZONE

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(20260301)
        self.number = 0

    def at(self, day: date, hour: float) -> datetime:
        """Wall time of that evening; hours past 24 are the morning after. With the offset of then."""
        naive = datetime.combine(day, datetime.min.time()) + timedelta(hours=hour)
        return datetime.fromisoformat(naive.replace(tzinfo=self.zone).isoformat())

    def span(
        self, day: date, begin: float = 21.5, end: float = 31.0, *, gaps: Sequence[tuple[float, float, str]] = ()
    ) -> int:
        """Listening through a night."""
        made = self.store.begin_listening("USB microphone", "household", self.at(day, begin))
        for start, stop, why in gaps:
            self.store.gap(made, self.at(day, start), self.at(day, stop), why)
        self.store.extend_listening(made, self.at(day, end), 0.4)
        for hour in range(int(end - begin)):
            for minute, margin in enumerate(self.rng.normal(14, 5, 60)):
                self.store.margin(made, self.at(day, begin + hour) + timedelta(minutes=minute), float(margin))
        self.store.end_listening(made, self.at(day, end))
        return made

    def alarm(
        self, span: int, pattern: str, at: datetime, *, found: Finding | None = None, who: str = "Anna",
        drill: bool = False, lasted: float | None = None, why: str | None = None,
    ) -> int:  # fmt: skip
        """One alarm that woke somebody, was answered and ended."""
        self.number += 1
        priority, usual, told = SOUNDS[pattern]
        lasted = usual * float(self.rng.uniform(0.5, 1.5)) if lasted is None else lasted
        alarm = Alarm(self.number, pattern, priority, 100.0, 111.5, None, 111.2, 3, 1.2, 5.0, 2730.0, 0.98, why or told)
        known = self.store.raise_alarm(span, alarm, at, at + timedelta(seconds=11), drill)
        if priority != "low":
            self.store.note(known, "woken", at + timedelta(seconds=11), 0.0)
            after = float(self.rng.lognormal(3.2, 0.7))
            answered = at + timedelta(seconds=11 + after)
            self.store.note(known, "acknowledged", answered, after, who=who, way="page")
        over = replace(alarm, last=100.0 + lasted, ended=100.0 + lasted)
        self.store.end_alarm(known, over, at + timedelta(seconds=lasted))
        if found is not None:
            self.store.found(known, found, at + timedelta(minutes=20), who)
        return known

    def care(self, routine: str, at: datetime, kind: Literal["done", "forecast"] = "done", reason: str = "") -> None:
        """One entry."""
        due = at if kind == "forecast" else None
        self.store.care(CareEvent(routine, kind, at, due=due, reason=reason or None, who="Anna"))


def ordinary(folder: Path, *, first: date = FIRST, last: date = LAST, notes: Sequence[str] = ()) -> None:
    """Two months as they may be, and the two before; the leads slip more often in the second."""
    store = Store(folder)
    house = House(store)
    with store.together():
        before = first - (last - first) - timedelta(days=1)
        for count in range((last - before).days + 1):
            _night(house, before + timedelta(days=count), first)
        house.care(BATTERY, house.at(first - timedelta(days=32), 18))
        house.care(BATTERY, house.at(first + timedelta(days=12), 19))
        for day in range(0, (last - before).days, 3):
            house.care(EXIT_SITE, house.at(before + timedelta(days=day), 19.5))
        house.care(EXIT_SITE, house.at(first + timedelta(days=20), 8), "forecast", "damp")
        for number, words in enumerate(notes):
            store.write_note("alarm", house.number - number, house.at(last, 9), words, "Anna")
    store.close()


def _night(house: House, day: date, first: date) -> None:
    rng, store = house.rng, house.store
    if day.day == 17:  # a night away
        span = house.span(day)
        store.end_pause(store.pause(span, "away", house.at(day, 18), house.at(day, 34), "Anna"), house.at(day, 34))
        return
    gaps = [(27.0, 27.8, "no sound came from the microphone")] if day.day == 9 else []
    span = house.span(day, 21.0 + float(rng.uniform(0, 1)), 30.5 + float(rng.uniform(0, 1)), gaps=gaps)
    if day.day == 9:
        technical = store.raise_technical(
            span, "no-sound", "high", began=house.at(day, 27.0), raised=house.at(day, 27.002)
        )
        store.note_technical(technical, "ended", house.at(day, 27.8))
    if day.day % 6 == 0:
        pause = store.pause(span, "bath", house.at(day, 22.2), house.at(day, 22.8), "Anna")
        store.end_pause(pause, house.at(day, 22.7), "person")
    often = 0.30 if day >= first else 0.08
    for pattern, chance in (("lead-disconnect", often), ("backup-battery", 0.05), ("unknown", 0.1)):
        if rng.uniform() < chance:
            found = FINDINGS[int(rng.integers(4))] if rng.uniform() < 0.7 else None
            house.alarm(span, pattern, house.at(day, float(rng.uniform(22.5, 29.0))), found=found)
    if day == first + timedelta(days=33):
        for minute in (0, 4, 9):
            house.alarm(span, "lead-disconnect", house.at(day, 26 + minute / 60), found="cable")
    if day.day == 1:
        house.alarm(span, "lead-disconnect", house.at(day, 21.95), drill=True, who="Ben")


def full(folder: Path, *, first: date = FIRST, nights: int = 61, each: int = 8) -> None:
    """Hundreds of alarms."""
    store = Store(folder)
    house = House(store)
    kinds = list(SOUNDS)
    with store.together():
        for count in range(nights):
            day = first + timedelta(days=count)
            span = house.span(day)
            for one in range(each):
                at = house.at(day, 22 + one + float(house.rng.uniform(0, 0.9)))
                number = house.alarm(span, kinds[int(house.rng.integers(len(kinds)))], at, found="cable")
                store.write_note("alarm", number, at, f"note {number}: the plug had slipped a little again", "Anna")
    store.close()
