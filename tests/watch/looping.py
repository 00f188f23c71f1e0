"""A program for `test_reliability`: the whole loop in mid-alarm, alarm after alarm, its screen on standard output.

Its time is the test's hand's, so a night of alarms takes seconds. Arguments: the data folder, and what is to happen:
"kill" (nothing: it goes on until it is killed) or "full" (the small disk under the folder is filled in mid-alarm and
there is room again later), or "night" (three alarms, and the end).
"""

import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from beepwatch.channels.speaker import Started
from beepwatch.events import Changed, Ended, Event, Raised
from beepwatch.records.clipping import Clipper, Keeping
from beepwatch.watch.minutes import Minutes
from tests.watch.hand import BEGAN, Bedroom, Step, alarm

EACH = 12.0
"""s of the room between two alarms."""
ALARMS = 2000


def alarms(count: int) -> Iterator[tuple[float, Event]]:
    """One after another, each with its number in its sentence of evidence: raised, three more beeps, over."""
    for number in range(1, count + 1):
        at = EACH * number
        one = replace(alarm(number, onset=at - 7.3, last=at - 0.3), raised=at, why=f"alarm number {number}")
        yield at, Raised(at, one)
        for beep in range(1, 4):
            last = at + 3 * beep
            yield last + 0.3, Changed(last + 0.3, replace(one, beeps=3 + beep, last=last))
        yield at + 10.5, Ended(at + 10.5, replace(one, beeps=6, last=at + 9, ended=at + 9))


def fill(folder: Path) -> None:
    """Not a byte is free any more; only of a disk that was made small for this."""
    assert shutil.disk_usage(folder).total < 10_000_000, "this is no small disk"
    with (folder / "ballast").open("wb", buffering=0) as file:
        try:
            while file.write(b"\0" * 512):
                pass
        except OSError:
            return


def empty(folder: Path) -> None:
    """Room again."""
    (folder / "ballast").unlink()


def main(folder: Path, what: str) -> None:
    """Listen."""
    script: list[Step] = [("sound", EACH * ALARMS)] if what == "kill" else [
        ("sound", 14.0), ("away", 0.0), ("sound", 16.0), ("back", 0.0), ("sound", 30.0)
    ]  # fmt: skip
    count = ALARMS if what == "kill" else 3
    clipper = Clipper(folder, Keeping(30, 100), lambda: BEGAN)
    bedroom = Bedroom(folder, script, list(alarms(count)), clipper=clipper, minutes=Minutes(None), shown=sys.stdout)
    bedroom.speaker.on_play = lambda round_: Started(bedroom.hand.now, round_.numbers)
    if what == "full":
        bedroom.calls |= {"away": lambda: fill(folder), "back": lambda: empty(folder)}
    summary = bedroom.run()
    print(f"PLAYED {sorted({number for _, numbers, _ in bedroom.speaker.played for number in numbers if number > 0})}")
    print(f"WRITTEN {summary.written}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
